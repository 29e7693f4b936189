"""The sentences of the report's later pages: method, home course, accuracy, cautions."""

from pipeline.judgements import BetweenClubs
from pipeline.records import SetResult
from pipeline.wording import Page

BALLS_TO_TELL = 40  # with each club, until a spread half as large again is seen three times in four: our simulation


def how(page: Page) -> list[str]:
    """Say how the numbers came about: sources, rules, method, air."""
    say, air, sources = page.words.say, page.fitting.air, page.fitting.sources
    named = {kind: page.words.listed(page.words.inside(page.words.get(f"quantity.{n}")) for n, s in sources.items()
             if s == kind) for kind in ("measured", "restated", "modelled", "run_modelled")}  # fmt: skip
    lines = [say(f"how.{kind}", names=named[kind]) for kind in ("measured", "modelled") if named[kind]]
    if named["restated"] and air.device_altitude_m is not None and air.device_temperature_c is not None:
        place, warmth = page.shown.air(air.device_altitude_m, air.device_temperature_c)
        lines.append(say("how.restated", names=named["restated"], altitude=place, temperature=warmth))
    if named["run_modelled"]:
        lines.append(say("how.run_modelled"))
    altitude, temperature = page.shown.air(air.altitude_m, air.temperature_c)
    firmness = page.words.get(f"firmness.{air.firmness}")
    humidity = page.shown.percent(air.humidity_percent / 100)
    lines.append(say("how.air", temperature=temperature, altitude=altitude, humidity=humidity, firmness=firmness))
    if (air.drag_multiplier, air.lift_multiplier) != (1, 1):
        drag, lift = (page.words.number(value, 3) for value in (air.drag_multiplier, air.lift_multiplier))
        lines.append(say("how.calibrated", drag=drag, lift=lift))
    lines += [say("how.average"), say("how.aside")]
    if page.fitting.comparisons:
        lines.append(say("how.compare"))
    if any(effect.adjusted for effect in page.fitting.judged.orders):
        lines.append(say("how.order"))
    if page.fitting.judged.prior:
        lines.append(_expected(page, page.fitting.judged.prior))
    if any(r.n_mishit for r in page.fitting.sets) and "carry_m" in sources:
        items = [f"{r.set.letter} {page.shown.full(r.averages['carry_m'].all_valid_mean, 'carry_m')}" for r in
                 page.fitting.sets if "carry_m" in r.averages]  # fmt: skip
        lines.append(say("how.all_valid", list=page.words.listed(items)))
    return [*lines, say("how.model")]


def _expected(page: Page, prior: BetweenClubs) -> str:
    """Say how what is to be expected was found: by our judgement, or by what the studio's customers told."""
    spread, customers = page.shown.distance(prior.spread_m, 1), page.fitting.judged.history_customers
    if prior.source == "history":
        return page.words.say("how.expect_history", prior=spread, customers=customers)
    return page.words.say("how.expect", prior=page.shown.distance(prior.spread_m))


def counted_sentence(page: Page) -> str:
    """Say how many readings were set aside."""
    total, aside = len(page.fitting.shots), sum(r.n_mishit + r.n_bad_read for r in page.fitting.sets)
    staff = any(s.fate.by == "staff" and s.fate.fate in ("mishit", "bad_read") for s in page.fitting.shots)
    key = "by_hand" if aside and staff else "some" if aside else "none"
    readings = page.words.say("counted.one_reading" if total == 1 else "counted.readings", n=total)
    return page.words.say(f"counted.{key}", readings=readings, aside=aside)


def home_sentence(page: Page) -> str:
    """Say how far the same balls would carry on the customer's home course, and why."""
    home = page.fitting.home
    if home is None:
        return ""
    altitude, temperature = page.shown.air(home.altitude_m, home.temperature_c)
    share = abs(home.density_ratio - 1)
    density = "same" if round(100 * share) == 0 else "thinner" if home.density_ratio < 1 else "denser"
    items = [
        page.words.say(
            "home.set",
            letter=page.fitting.sets[there.set_index].set.letter,
            there=page.shown.full(there.carry_m, "carry_m"),
            here=page.shown.full(page.fitting.sets[there.set_index].averages["carry_m"].mean, "carry_m"),
        )
        for there in home.sets
        if "carry_m" in page.fitting.sets[there.set_index].averages
    ]
    air = page.words.say(
        f"home.{density}", altitude=altitude, temperature=temperature, percent=page.shown.percent(share)
    )
    return f"{air} {page.words.say('home.carry', list=page.words.listed(items, 'semicolon'))}"


# --- accuracy -----------------------------------------------------------------------------------------------------
def is_for_the_tee(result: SetResult) -> bool:
    """Tell whether a club is one whose balls are meant for a fairway."""
    return result.set.build.category in ("driver", "wood")


def any_for_the_tee(page: Page) -> bool:
    """Tell whether any set of which accuracy is said is meant for a fairway."""
    return any(is_for_the_tee(page.fitting.sets[a.set_index]) for a in page.fitting.judged.accuracies)


def accuracy_sentences(page: Page) -> list[str]:
    """Say whose balls lie closer together, if that is known, and what distance is worth against accuracy."""
    judged, say = page.fitting.judged, page.words.say
    if not judged.accuracies:
        return []
    proven = [c for c in judged.spreads if c.verdict == "likely_real"]
    said = []
    for c in proven:
        key = f"accuracy.{'tighter' if c.ratio < 1 else 'wider'}_{'across' if c.quantity == 'offline_m' else 'along'}"
        build = page.fitting.sets[c.build]
        said.append(say(key, label=page.named(build), **page.bases(build)))
    if judged.spreads and not proven:
        had = min(min(c.n_build, c.n_against) for c in judged.spreads)
        said.append(page.words.get(f"accuracy.no_difference{'' if had < BALLS_TO_TELL else '_many'}"))
    if any_for_the_tee(page):
        said.append(say("accuracy.width", width=page.shown.distance(judged.accuracies[0].fairway_width_m)))
    return [*said, *_exchange(page)]


def _exchange(page: Page) -> list[str]:
    rate = page.fitting.judged.exchange
    if rate is None:
        return []
    ten = 10 * page.shown.stored_step("length")
    said = page.words.say(
        "accuracy.exchange",
        hole=page.shown.distance(rate.hole_m),
        left=page.shown.distance(rate.left_m),
        nearer=page.shown.distance(ten),
        points=round(100 * rate.nearer * ten / rate.rough),
    )
    return [said]


# --- cautions -----------------------------------------------------------------------------------------------------
_GENERAL_CAUTIONS = ("estimates", "buying", "bay", "data")


def cautions(page: Page) -> list[str]:
    """Word the cautions the visit has earned, then those that hold for every visit."""
    judged, shown = page.fitting.judged, page.shown
    by_order = [effect.could_be for effect in judged.orders if not effect.adjusted]
    parted = [page.fitting.sets[index] for index in judged.parted]
    values = {
        "drift": shown.distance(max([*by_order, shown.stored_step("length")])),
        "list": page.words.listed([_parted(page, result) for result in parted], "semicolon"),
        "n": sum(shot.fate.by == "staff" for shot in page.fitting.shots),
    }
    return [page.words.say(f"caution.{code}", **values) for code in (*page.fitting.cautions, *_GENERAL_CAUTIONS)]


def _parted(page: Page, result: SetResult) -> str:
    carry = result.averages["carry_m"]
    mean, median = (page.shown.full(value, "carry_m") for value in (carry.mean, carry.median))
    return page.words.say("caution_part.parted", letter=result.set.letter, mean=mean, median=median)
