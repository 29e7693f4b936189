"""The report's sentences: each earned by a rule, filled with the visit's numbers in the studio's units."""

from collections import Counter
from dataclasses import dataclass

from pipeline import findings
from pipeline.clubs import same_job
from pipeline.findings import Finding
from pipeline.records import Comparison, Fitting, SetResult, ShotResult
from pipeline.settings import Settings
from pipeline.shown import NBSP, Shown, number
from pipeline.vocabulary import Words, words

LONGEST_LABEL = 40  # on paper; the whole label is in shots.csv and fitting.json
_MOST_CLAUSES = 5  # more verdicts than these are counted, not named one by one
_SMALL_LAUNCH_DEG, _SMALL_SPIN_RPM = 0.5, 100.0  # smaller differences are not worth a word


@dataclass(frozen=True)
class Page:
    """What every part of the report needs: the fitting, its finding, how to show numbers, and the words."""

    fitting: Fitting
    settings: Settings
    finding: Finding
    shown: Shown
    words: Words

    def label(self, result: SetResult) -> str:
        """Name a set as the report does: club and phase; the phase alone where one club was hit in several ways."""
        text, phase = result.set.label, result.set.phase
        if phase:
            one_club = len({r.set.label for r in self.fitting.sets}) == 1
            text = phase if one_club else self.words.say("set.with_phase", label=text, phase=phase)
        return text if len(text) <= LONGEST_LABEL else text[: LONGEST_LABEL - 1].rstrip() + "…"

    def is_way(self, result: SetResult) -> bool:
        """Tell whether a set is the own club hit in another way, rather than another build."""
        own = findings.own(self.fitting)
        return result is not own and result.set.label == own.set.label

    def base(self, result: SetResult) -> str:
        """Name what a set is compared with: your own club, or the same club before the change."""
        if not self.is_way(result):
            return str(self.words.get("set.base"))
        phase = findings.own(self.fitting).set.phase
        return self.words.say("set.base_way", phase=phase) if phase else self.words.get("set.base_way_unnamed")

    def say(self, key: str, way: bool, **values: object) -> str:  # noqa: FBT001 - private choice of two wordings
        """Fill a sentence; where a club was hit in several ways, in its own wording if there is one."""
        section, name = key.split(".")
        return self.words.say(f"{key}_way" if way and f"{name}_way" in self.words.get(section) else key, **values)


def _balls(page: Page, n: int) -> str:
    return page.words.say("counted.one_ball" if n == 1 else "counted.balls", n=n)


def page_of(fitting: Fitting, settings: Settings) -> Page:
    """Give the page of a fitting in the studio's language and units."""
    language = words(settings.language)
    return Page(fitting, settings, findings.answer(fitting), Shown(settings.units_shown, language), language)


# --- the answer ---------------------------------------------------------------------------------------------------
def _about(page: Page, comparison: Comparison) -> str:
    """Say “about” when the shown figures do not subtract to the shown difference."""
    build = page.fitting.sets[comparison.build].averages["carry_m"].mean
    base = page.fitting.sets[comparison.against].averages["carry_m"].mean
    rounded = [round(page.shown.convert(value, "length")) for value in (build, base, comparison.difference)]
    return "" if rounded[0] - rounded[1] == rounded[2] else "about "


def facts(page: Page) -> dict[str, str]:
    """Collect the values the answer's sentences may use."""
    finding, shown = page.finding, page.shown
    facts = {
        "label": page.label(finding.subject),
        "base": page.base(finding.subject),
        "smallest": shown.distance(page.fitting.smallest_difference_m),
    }
    carry = finding.subject.averages.get("carry_m")
    if carry:
        facts |= {
            "carry_m": shown.full(finding.subject.typical("carry_m"), "carry_m"),
            "low": shown.full(carry.low, "carry_m"),
        }
        facts |= {"high": shown.full(carry.high, "carry_m")}
    bag = page.fitting.judged.bag
    if bag:
        ends = (shown.full(club.carry_m, "carry_m") for club in (bag.clubs[0], bag.clubs[-1]))
        facts |= {"clubs": str(len(bag.clubs)), "bag_sentence": bag_sentence(page)}
        facts |= dict(zip(("farthest", "nearest"), ends, strict=True))
    if finding.comparison:
        c = finding.comparison
        unit = page.words.get(f"units.{shown.system}.length_long")
        facts |= {"difference": shown.distance(c.difference), "about": _about(page, c), "more": str(c.more_shots or "")}
        facts |= {"low": number(shown.convert(c.low, "length"), 0), "high": _signed_far(page, c.high, unit)}
    return facts


def _signed_far(page: Page, value: float, unit: str) -> str:
    return f"{number(page.shown.convert(value, 'length'), 0)}{NBSP}{unit}"


def lead(page: Page, facts: dict[str, str]) -> str:
    """Say the answer in one sentence."""
    return page.say(f"answer.{page.finding.code}", page.is_way(page.finding.subject), **facts)


def under(page: Page, facts: dict[str, str]) -> str:
    """Say how many balls counted, and how sure the answer is."""
    total = len(page.fitting.shots)
    counted = sum(r.n_counted for r in page.fitting.sets)
    key = "all_counted" if counted == total else "counted" if counted else "uncounted"
    first = page.words.say(f"under.{key}", balls=_balls(page, total), counted=counted)
    code = page.finding.code
    if page.finding.comparison is None and "nan" in facts.get("low", ""):
        code += "_few"
    said = first + page.say(f"under.{code}", page.is_way(page.finding.subject), **facts)
    return " ".join([said, *_expected(page)])


def _expected(page: Page) -> list[str]:
    """Say what to expect of the leading build in the long run, and ball against ball."""
    lead = page.finding.comparison
    found = [e for e in page.fitting.judged.expectations if lead and lead.difference > 0 and e.build == lead.build]
    said = []
    for expectation in found:
        if expectation.expected > 0:
            expected = page.shown.distance(expectation.expected)
            said.append(page.words.say("under.expect", expected=expected))
        times = round(10 * expectation.farther)
        key = {0: "farther_hardly_ever", 10: "farther_nearly_always"}.get(times, "farther")
        said.append(page.words.say(f"under.{key}", times=times))
    return said


def verdicts(page: Page) -> str:
    """Write one clause a build, from the same intervals as the picture."""
    by_build = {c.build: c for c in page.fitting.comparisons}
    if len(by_build) > _MOST_CLAUSES:
        return _many_verdicts(page)
    own = findings.own(page.fitting)
    clauses = []
    for result in page.fitting.sets:
        if result is own:
            continue
        label = page.label(result)
        if result.set.index in by_build:
            clauses.append(_verdict(page, result, by_build[result.set.index]))
        elif same_job(result.set.build, own.set.build):
            code = "too_uneven" if result.uneven or own.uneven else "too_few"
            clauses.append(page.words.say(f"verdict.{code}", label=label))
    text = "; ".join(clauses)
    return text[:1].upper() + text[1:] + ("." if text else "")


def _many_verdicts(page: Page) -> str:
    """Count the verdicts where naming each would be a list."""
    said = Counter((c.verdict, c.difference > 0) for c in page.fitting.comparisons)
    return page.words.say(
        "verdict.many",
        n=len(page.fitting.comparisons),
        base=page.words.get("set.base"),
        longer=said["likely_real", True],
        shorter=said["likely_real", False],
        same=said["same", True] + said["same", False],
        open=said["not_settled", True] + said["not_settled", False],
    )


def _verdict(page: Page, result: SetResult, c: Comparison) -> str:
    side = ("_longer" if c.difference > 0 else "_shorter") if c.verdict == "likely_real" else ""
    text = page.words.say(f"verdict.{c.verdict}{side}", label=page.label(result), base=page.base(result))
    if c.verdict == "not_settled":
        text += page.words.say("verdict.more", more=c.more_shots) if c.more_shots else page.words.get("verdict.never")
    return text


def suggestions(page: Page, facts: dict[str, str]) -> list[str]:
    """Say what to do next."""
    code = page.finding.code
    if code == "longer_open" and page.finding.comparison and page.finding.comparison.more_shots is None:
        code = "longer_open_never"
    asked = [page.words.get("suggest.asked")] if any(r.n_asked for r in page.fitting.sets) else []
    return [page.say(f"suggest.{code}", page.is_way(page.finding.subject), **facts), *asked]


def reason(page: Page, shot: ShotResult) -> str:
    """Say why a shot was set aside or asked about."""
    fate = shot.fate
    code = fate.code
    if code == "flight_disagrees":
        name = next(n for n in fate.figures if not n.startswith("expected_"))
        code = "flight_" + name.rsplit("_", 1)[0]
    values = {name: page.shown.full(value, name) for name, value in fate.figures.items()}
    return page.words.say(f"reason.{code}", **values, words=fate.words[:200])


# --- sentences of the later pages ---------------------------------------------------------------------------------
def flight_sentence(page: Page) -> str:
    """Say how the build's flight differs from the own club's, or what the own club's is."""
    own, subject = findings.own(page.fitting), page.finding.subject
    names = ("launch_angle_deg", "spin_rate_rpm", "apex_m")
    if any(n not in r.averages for n in names for r in (own, subject)):
        return str(page.words.get("fly.no_flight"))
    full = {n: page.shown.full(subject.averages[n].mean, n) for n in names}
    if subject is own:
        return page.words.say("fly.own", label=page.label(own), **full)
    launch = _versus(page, subject, own, "launch_angle_deg", ("higher", "lower", "same_launch", _SMALL_LAUNCH_DEG))
    spin = _versus(page, subject, own, "spin_rate_rpm", ("more_spin", "less_spin", "same_spin", _SMALL_SPIN_RPM))
    return page.words.say(
        "fly.versus", label=page.label(subject), base=page.base(subject), launch=launch, spin=spin, apex=full["apex_m"]
    )


def _versus(page: Page, subject: SetResult, own: SetResult, name: str, choice: tuple[str, str, str, float]) -> str:
    difference = subject.averages[name].mean - own.averages[name].mean
    more, less, same, smallest = choice
    if abs(difference) < smallest:
        return str(page.words.get(f"fly.{same}"))
    return page.words.say(f"fly.{more if difference > 0 else less}", amount=page.shown.full(abs(difference), name))


def how(page: Page) -> list[str]:
    """Say how the numbers came about: sources, rules, method, air."""
    say, air, sources = page.words.say, page.fitting.air, page.fitting.sources
    named = {kind: [page.words.get(f"quantity.{n}").lower() for n, s in sources.items() if s == kind] for kind in
             ("measured", "restated", "modelled", "run_modelled")}  # fmt: skip
    lines = [say(f"how.{kind}", names=", ".join(named[kind])) for kind in ("measured", "modelled") if named[kind]]
    if named["restated"] and air.device_altitude_m is not None and air.device_temperature_c is not None:
        place, warmth = page.shown.air(air.device_altitude_m, air.device_temperature_c)
        lines.append(say("how.restated", names=", ".join(named["restated"]), altitude=place, temperature=warmth))
    if named["run_modelled"]:
        lines.append(say("how.run_modelled"))
    altitude, temperature = page.shown.air(air.altitude_m, air.temperature_c)
    firmness = page.words.get(f"firmness.{air.firmness}")
    humidity = f"{air.humidity_percent:.0f} %"
    lines.append(say("how.air", temperature=temperature, altitude=altitude, humidity=humidity, firmness=firmness))
    if (air.drag_multiplier, air.lift_multiplier) != (1, 1):
        lines.append(say("how.calibrated", drag=f"{air.drag_multiplier:.3f}", lift=f"{air.lift_multiplier:.3f}"))
    lines += [say("how.average"), say("how.aside")]
    if page.fitting.comparisons:
        lines.append(say("how.compare"))
    if any(effect.adjusted for effect in page.fitting.judged.orders):
        lines.append(say("how.order"))
    if page.fitting.judged.prior:
        lines.append(say("how.expect", prior=page.shown.distance(page.fitting.judged.prior.spread_m)))
    if any(r.n_mishit for r in page.fitting.sets) and "carry_m" in sources:
        items = [f"{r.set.letter} {page.shown.full(r.averages['carry_m'].all_valid_mean, 'carry_m')}" for r in
                 page.fitting.sets if "carry_m" in r.averages]  # fmt: skip
        lines.append(say("how.all_valid", list=", ".join(items)))
    return [*lines, say("how.model")]


def counted_sentence(page: Page) -> str:
    """Say how many balls were set aside."""
    total, aside = len(page.fitting.shots), sum(r.n_mishit + r.n_bad_read for r in page.fitting.sets)
    key = "some" if aside else "none"
    return page.words.say(f"counted.{key}", balls=_balls(page, total), aside=aside)


def home_sentence(page: Page) -> str:
    """Say how far the same balls would carry on the customer's home course, and why."""
    home = page.fitting.home
    if home is None:
        return ""
    altitude, temperature = page.shown.air(home.altitude_m, home.temperature_c)
    share = round(100 * abs(home.density_ratio - 1))
    density = "same" if share == 0 else "thinner" if home.density_ratio < 1 else "denser"
    items = [
        page.words.say(
            "home.set",
            letter=page.fitting.sets[there.set_index].set.letter,
            there=page.shown.full(there.carry_m, "carry_m"),
            here=page.shown.full(page.fitting.sets[there.set_index].averages["carry_m"].mean, "carry_m"),
        )
        for there in home.sets
    ]
    air = page.words.say(f"home.{density}", altitude=altitude, temperature=temperature, percent=share)
    return f"{air} {page.words.say('home.carry', list='; '.join(items))}"


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
        said.append(say(key, label=page.label(page.fitting.sets[c.build]), base=page.base(page.fitting.sets[c.build])))
    if judged.spreads and not proven:
        said.append(page.words.get("accuracy.no_difference"))
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


def bag_sentence(page: Page) -> str:
    """Say which steps of the bag leave a hole or overlap for sure, and how many are not settled."""
    bag = page.fitting.judged.bag
    if bag is None:
        return ""
    names = {club.set_index: page.label(page.fitting.sets[club.set_index]) for club in bag.clubs}
    said = [
        page.words.say(f"bag.sure_{gap.looks}", longer=names[gap.longer], shorter=names[gap.shorter])
        for gap in bag.gaps
        if gap.settled and gap.looks != "even"
    ]
    unsettled = sum(not gap.settled for gap in bag.gaps)
    if unsettled:
        said.append(page.words.say("bag.unsettled", n=unsettled, of=len(bag.gaps)))
    left_out = [page.label(page.fitting.sets[index]) for index in bag.left_out]
    if left_out:
        said.append(page.words.say("bag.left_out", list=", ".join(left_out)))
    return " ".join(said or [page.words.get("bag.all_even")])


# --- cautions -----------------------------------------------------------------------------------------------------
_GENERAL_CAUTIONS = ("estimates", "buying", "bay", "data")


def cautions(page: Page) -> list[str]:
    """Word the cautions the visit has earned, then those that hold for every visit."""
    judged, shown = page.fitting.judged, page.shown
    by_order = [effect.could_be for effect in judged.orders if not effect.adjusted]
    parted = [page.fitting.sets[index] for index in judged.parted]
    values = {
        "drift": shown.distance(max(by_order, default=0.0)),
        "list": "; ".join(
            page.words.say(
                "caution_part.parted",
                letter=r.set.letter,
                mean=shown.full(r.averages["carry_m"].mean, "carry_m"),
                median=shown.full(r.averages["carry_m"].median, "carry_m"),
            )
            for r in parted
        ),
        "n": sum(shot.fate.by == "staff" for shot in page.fitting.shots),
    }
    return [page.words.say(f"caution.{code}", **values) for code in (*page.fitting.cautions, *_GENERAL_CAUTIONS)]
