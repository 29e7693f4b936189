"""The report's sentences: each earned by a rule, filled with the visit's numbers in the studio's units."""

import math
from collections import Counter
from dataclasses import dataclass
from functools import cached_property

from pipeline import findings
from pipeline.analysis.comparison import FEWEST_SHOTS
from pipeline.clubs import same_job, told_apart
from pipeline.findings import Finding
from pipeline.records import Comparison, Fate, Fitting, SetResult, ShotResult
from pipeline.settings import Settings
from pipeline.shown import Shown
from pipeline.vocabulary import Words, words

LONGEST_LABEL = 40  # on paper; the whole label is in shots.csv and fitting.json
_MOST_CLAUSES = 5  # more verdicts than these are counted, not named one by one
_SMALL_LAUNCH_DEG, _SMALL_SPIN_RPM = 0.5, 100.0  # smaller differences are not worth a word
_WHOLE_FROM = 1.5  # shown units: smaller limits get a decimal
_EVEN_CHANCE, _ALWAYS = 5, 10  # times in ten: below the one nothing is farther, the other is never promised


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
        text, phase = self._names[result.set.label], result.set.phase
        if phase:
            one_club = len({r.set.label for r in self.fitting.sets}) == 1
            text = phase if one_club else self.words.say("set.with_phase", label=text, phase=phase)
        return text if len(text) <= LONGEST_LABEL else text[: LONGEST_LABEL - 1].rstrip() + "…"

    @cached_property
    def _names(self) -> dict[str, str]:
        """What each label's club is called."""
        called = {each.set.label: each.set.build.called for each in self.fitting.sets}
        return dict(zip(called, told_apart(list(called.items())), strict=True))

    def is_way(self, result: SetResult) -> bool:
        """Tell whether a set is the own club hit in another way, rather than another build."""
        own = findings.own(self.fitting)
        return result is not own and result.set.label == own.set.label

    def tells_of_ways(self) -> bool:
        """Tell whether the answer is of ways to hit the own club: of the one it speaks of, else of all compared."""
        subject, sets = self.finding.subject, self.fitting.sets
        if subject is not findings.own(self.fitting):
            return self.is_way(subject)
        return bool(self.fitting.comparisons) and all(self.is_way(sets[c.build]) for c in self.fitting.comparisons)

    def named(self, result: SetResult) -> str:
        """Name a set inside a sentence: a phase that stands alone is quoted."""
        label = self.label(result)
        return self.words.say("set.way", phase=label) if label == result.set.phase else label

    def bases(self, result: SetResult) -> dict[str, str]:
        """Name what a set is compared with, in each form that sentences need: your own club, or the way before."""
        phase = findings.own(self.fitting).set.phase
        kind = "own" if not self.is_way(result) else "way" if phase else "before"
        return {form: texts[kind].format(phase=phase) for form, texts in self.words.get("base").items()}

    def say(self, key: str, way: bool, **values: object) -> str:  # noqa: FBT001 - private choice of two wordings
        """Fill a sentence; where a club was hit in several ways, in its own wording if there is one."""
        section, name = key.split(".")
        return self.words.say(f"{key}_way" if way and f"{name}_way" in self.words.get(section) else key, **values)


def balls(page: Page, n: int) -> str:
    """Write a number of balls: `1 ball`, `9 balls`."""
    return page.words.say("counted.one_ball" if n == 1 else "counted.balls", n=n)


def page_of(fitting: Fitting, settings: Settings) -> Page:
    """Give the page of a fitting in the studio's language and units."""
    language = words(settings.language)
    return Page(fitting, settings, findings.answer(fitting), Shown(settings.units_shown, language), language)


def version_number(page: Page) -> str:
    """Name the version of a report that was issued again; the first one is not called a version."""
    number = page.fitting.version
    return page.words.say("document.version_number", number=number) if number > 1 else ""


def version(page: Page) -> str:
    """Name the version and the day it was made."""
    day, number = page.fitting.version_date, version_number(page)
    if not number or day is None:
        return number
    return page.words.say("document.version", number=page.fitting.version, date=page.words.day(day))


# --- the answer ---------------------------------------------------------------------------------------------------
def _about(page: Page, comparison: Comparison) -> str:
    """Write a gain, with “about” when the shown figures do not subtract to the shown difference."""
    build = page.fitting.sets[comparison.build].averages["carry_m"].mean
    base = page.fitting.sets[comparison.against].averages["carry_m"].mean
    rounded = [round(page.shown.convert(value, "length")) for value in (build, base, comparison.difference)]
    amount = _difference(page, comparison)
    plain = rounded[0] - rounded[1] == rounded[2] or rounded[2] == 0
    return amount if plain else page.words.say("answer.about", amount=amount)


def smallest_that_matters(page: Page) -> str:
    """Write the smallest difference that matters, with a decimal where it would be lost by rounding."""
    metres = page.fitting.smallest_difference_m
    return page.shown.distance(metres, 0 if page.shown.convert(metres, "length") >= _WHOLE_FROM else 1)


def _difference(page: Page, comparison: Comparison) -> str:
    """Write a difference; one smaller than what matters that would print like it gets a decimal, rounded down."""
    size, smallest = (
        page.shown.convert(metres, "length")
        for metres in (abs(comparison.difference), page.fitting.smallest_difference_m)
    )
    if size >= smallest or round(size) < round(smallest):
        return page.shown.distance(comparison.difference)
    step = page.shown.stored_step("length")
    return page.shown.distance(math.floor(10 * size) / 10 * step, 1)


def facts(page: Page) -> dict[str, str]:
    """Collect the values the answer's sentences may use."""
    finding, shown = page.finding, page.shown
    facts = {
        "label": page.named(finding.subject),
        **page.bases(finding.subject),
        "smallest": smallest_that_matters(page),
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
        facts |= {
            "difference": _difference(page, c),
            "gain": _about(page, c),
            "more": balls(page, c.more_shots or 0),
        }
        # only told of a build that is ahead, so that the high end is above 0
        facts |= {"low": page.words.number(shown.convert(c.low, "length")), "high": shown.distance(c.high)}
    return facts


def lead(page: Page, facts: dict[str, str]) -> str:
    """Say the answer in one sentence."""
    return page.say(f"answer.{page.finding.code}", page.tells_of_ways(), **facts)


def under(page: Page, facts: dict[str, str]) -> str:
    """Say how many balls counted, and how sure the answer is."""
    total = sum(shot.fate.code != "duplicate" for shot in page.fitting.shots)  # a reading that came twice is one ball
    counted = sum(r.n_counted for r in page.fitting.sets)
    key = "all_counted" if counted == total else "counted" if counted else "uncounted"
    first = page.words.say(f"under.{key}", balls=balls(page, total), counted=counted)
    code, carry = page.finding.code, page.finding.subject.averages.get("carry_m")
    if code in ("one_set", "other_kinds") and carry and carry.n < FEWEST_SHOTS:
        code += "_few"
    said = page.say(f"under.{code}", page.tells_of_ways(), **facts)
    return " ".join([first, said, *_expected(page), *_beside(page)])


def _beside(page: Page) -> list[str]:
    """Say which builds the answer leaves out, and why it may differ from the averages."""
    compared, own = {c.build for c in page.fitting.comparisons}, findings.own(page.fitting)
    like = [r for r in page.fitting.sets if r is not own and same_job(r.set.build, own.set.build)]
    left_out = [page.named(r) for r in like if r.set.index not in compared]
    said, c = [], page.finding.comparison
    if c and c.method == "welch_with_shot_number":
        means = [page.fitting.sets[index].averages["carry_m"].mean for index in (c.build, c.against)]
        if abs(means[0] - means[1] - c.difference) >= page.shown.stored_step("length"):
            said.append(page.words.get("under.in_turn"))
    if compared and left_out:
        said.append(page.words.say("under.left_out", list=page.words.listed(left_out)))
    return said


def _expected(page: Page) -> list[str]:
    """Say what to expect of the leading build in the long run, and ball against ball."""
    lead = page.finding.comparison
    if lead is None or lead.difference <= 0:
        return []
    found = [e for e in page.fitting.judged.expectations if e.build == lead.build]
    said = []
    for expectation in found:
        expected, gain = (round(page.shown.convert(m, "length")) for m in (expectation.expected, lead.difference))
        if expected <= gain:  # else the order of the shots was allowed for in the gain alone
            key = "expect" if expected > 0 else "expect_little"
            said.append(page.words.say(f"under.{key}", expected=page.shown.distance(expectation.expected)))
        times = round(10 * expectation.farther)
        if times >= _EVEN_CHANCE:
            key = "farther" if times < _ALWAYS else "farther_nearly_always"
            said.append(page.words.say(f"under.{key}", times=times))
    return said


def verdicts(page: Page) -> str:
    """Write one sentence a build, from the same intervals as the picture."""
    by_build = {c.build: c for c in page.fitting.comparisons}
    if len(by_build) > _MOST_CLAUSES:
        return _many_verdicts(page)
    own = findings.own(page.fitting)
    said = []
    for result in page.fitting.sets:
        if result is own:
            continue
        label = page.named(result)
        if result.set.index in by_build:
            said.append(_verdict(page, result, by_build[result.set.index]))
        elif same_job(result.set.build, own.set.build):
            code = "too_uneven" if result.uneven or own.uneven else "too_few"
            said.append(page.words.say(f"verdict.{code}", label=label))
    return " ".join(said)


def _many_verdicts(page: Page) -> str:
    """Count the verdicts where naming each would be a list."""
    said = Counter((c.verdict, c.difference > 0) for c in page.fitting.comparisons)
    return page.words.say(
        "verdict.many",
        n=len(page.fitting.comparisons),
        compared=page.bases(page.fitting.sets[page.fitting.comparisons[0].build])["compared"],
        longer=said["likely_real", True],
        shorter=said["likely_real", False],
        same=said["same", True] + said["same", False],
        open=said["not_settled", True] + said["not_settled", False],
    )


def _verdict(page: Page, result: SetResult, c: Comparison) -> str:
    small = "_small" if abs(c.difference) < page.fitting.smallest_difference_m else ""
    kind = {
        "likely_real": f"_longer{small}" if c.difference > 0 else f"_shorter{small}",
        "not_settled": f"_{_open(page, c)}",
    }.get(c.verdict, "")
    values = {"more": balls(page, c.more_shots or 0), "smallest": smallest_that_matters(page)}
    return page.words.say(f"verdict.{c.verdict}{kind}", label=page.named(result), **values, **page.bases(result))


def _open(page: Page, c: Comparison) -> str:
    """Tell what more shots would do: near (known to within what matters already), more (to get there) or never."""
    if c.high - c.low <= 2 * page.fitting.smallest_difference_m:
        return "near"
    return "more" if c.more_shots else "never"


def suggestions(page: Page, facts: dict[str, str]) -> list[str]:
    """Say what to do next."""
    code, c = page.finding.code, page.finding.comparison
    if c and code == "longer_open":
        why = "same" if c.verdict == "same" else _open(page, c)
        code = {"same": "same", "more": code}.get(why, f"{code}_{why}")
    asked = [page.words.get("suggest.asked")] if any(r.n_asked for r in page.fitting.sets) else []
    return [page.say(f"suggest.{code}", page.tells_of_ways(), **facts), *asked]


def reason(page: Page, shot: ShotResult) -> str:
    """Say why a shot was set aside or asked about."""
    return why(shot.fate, page.shown)


def why(fate: Fate, shown: Shown) -> str:
    """Say why a fate was given."""
    code = fate.code
    if code == "flight_disagrees":
        name = next(n for n in fate.figures if not n.startswith("expected_"))
        code = "flight_" + name.rsplit("_", 1)[0]
    values = {name: shown.full(value, name) for name, value in fate.figures.items()}
    return shown.words.say(f"reason.{code}", **values, words=fate.words[:200])


# --- sentences of the later pages ---------------------------------------------------------------------------------
def flight_sentence(page: Page) -> str:
    """Say how the build's flight differs from the own club's, or what the own club's is."""
    own, subject = findings.own(page.fitting), page.finding.subject
    names = ("launch_angle_deg", "spin_rate_rpm", "apex_m")
    if any(n not in r.averages for n in names for r in (own, subject)):
        return str(page.words.get("fly.some" if any(r.flight for r in page.fitting.sets) else "fly.no_flight"))
    full = {n: page.shown.full(subject.typical(n), n) for n in names}
    if subject is own:
        return page.words.say("fly.own", label=page.named(own), **full)
    launch = _versus(page, subject, own, "launch_angle_deg", ("higher", "lower", "same_launch", _SMALL_LAUNCH_DEG))
    spin = _versus(page, subject, own, "spin_rate_rpm", ("more_spin", "less_spin", "same_spin", _SMALL_SPIN_RPM))
    bases = page.bases(subject)
    return page.words.say(
        "fly.versus", label=page.named(subject), launch=launch, spin=spin, apex=full["apex_m"], **bases
    )


def _versus(page: Page, subject: SetResult, own: SetResult, name: str, choice: tuple[str, str, str, float]) -> str:
    difference = subject.typical(name) - own.typical(name)
    more, less, same, smallest = choice
    if abs(difference) < smallest:
        return str(page.words.get(f"fly.{same}"))
    return page.words.say(f"fly.{more if difference > 0 else less}", amount=page.shown.full(abs(difference), name))


def bag_sentence(page: Page) -> str:
    """Say which steps of the bag leave a hole or overlap for sure, and how many are not settled."""
    bag = page.fitting.judged.bag
    if bag is None:
        return ""
    names = {club.set_index: page.label(page.fitting.sets[club.set_index]) for club in bag.clubs}
    said = [
        page.words.say(
            f"bag.sure_{gap.looks}{'_perhaps' if bag.left_out and gap.looks == 'hole' else ''}",
            longer=names[gap.longer],
            shorter=names[gap.shorter],
        )
        for gap in bag.gaps
        if gap.settled and gap.looks != "even"
    ]
    unsettled = sum(not gap.settled for gap in bag.gaps)
    if unsettled:
        said.append(page.words.say("bag.unsettled", n=unsettled, of=len(bag.gaps)))
    left_out = [page.label(page.fitting.sets[index]) for index in bag.left_out]
    if left_out:
        said.append(page.words.say("bag.left_out", list=page.words.listed(left_out)))
    return " ".join(said or [page.words.get("bag.all_even")])
