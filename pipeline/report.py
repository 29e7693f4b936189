"""A fitting → the HTML of its report: sentences earned by rules, tables and pictures in the studio's units."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import jinja2

from pipeline import findings, pictures
from pipeline.findings import Finding
from pipeline.records import Average, Comparison, Fitting, Row, SetResult, ShotResult
from pipeline.resources import folder
from pipeline.settings import Settings
from pipeline.shown import NBSP, Shown, kind_of, number
from pipeline.svg import mark_of
from pipeline.vocabulary import Words, words

_LAUNCH_TABLE = (
    "club_speed_mps", "ball_speed_mps", "smash_factor", "attack_angle_deg", "launch_angle_deg", "launch_direction_deg",
    "spin_rate_rpm", "spin_axis_deg",
)  # fmt: skip
_FLIGHT_TABLE = ("carry_m", "total_m", "offline_m", "apex_m", "descent_angle_deg", "flight_time_s")
_GENERAL_CAUTIONS = ("estimates", "buying", "bay", "data")
LONGEST_LABEL = 40  # on paper; the whole label is in shots.csv and fitting.json
_FIGURES = ("carry_m", "total_m", "offline_m", "ball_speed_mps", "smash_factor")
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

    def value(self, average: Average | None, name: str) -> str:
        """Write an average with its unit, or that it is not known."""
        return self.shown.full(average.mean, name) if average else self.words.get("figures.unknown")


def _balls(page: Page, n: int) -> str:
    return page.words.say("counted.one_ball" if n == 1 else "counted.balls", n=n)


# --- the answer ---------------------------------------------------------------------------------------------------
def _about(page: Page, comparison: Comparison) -> str:
    """Say “about” when the shown figures do not subtract to the shown difference."""
    build = page.fitting.sets[comparison.build].averages["carry_m"].mean
    base = page.fitting.sets[comparison.against].averages["carry_m"].mean
    rounded = [round(page.shown.convert(value, "length")) for value in (build, base, comparison.difference)]
    return "" if rounded[0] - rounded[1] == rounded[2] else "about "


def _facts(page: Page) -> dict[str, str]:
    """Collect the values the answer's sentences may use."""
    finding, shown = page.finding, page.shown
    facts = {
        "label": page.label(finding.subject),
        "base": page.base(finding.subject),
        "smallest": shown.distance(page.fitting.smallest_difference_m),
    }
    carry = finding.subject.averages.get("carry_m")
    if carry:
        facts |= {"carry_m": shown.full(carry.mean, "carry_m"), "low": shown.full(carry.low, "carry_m")}
        facts |= {"high": shown.full(carry.high, "carry_m")}
    if finding.comparison:
        c = finding.comparison
        unit = page.words.get(f"units.{shown.system}.length_long")
        facts |= {"difference": shown.distance(c.difference), "about": _about(page, c), "more": str(c.more_shots or "")}
        facts |= {"low": number(shown.convert(c.low, "length"), 0), "high": _signed_far(page, c.high, unit)}
    return facts


def _signed_far(page: Page, value: float, unit: str) -> str:
    return f"{number(page.shown.convert(value, 'length'), 0)}{NBSP}{unit}"


def _under(page: Page, facts: dict[str, str]) -> str:
    """Say how many balls counted, and how sure the answer is."""
    total = len(page.fitting.shots)
    counted = sum(r.n_counted for r in page.fitting.sets)
    key = "all_counted" if counted == total else "counted" if counted else "uncounted"
    first = page.words.say(f"under.{key}", balls=_balls(page, total), counted=counted)
    code = page.finding.code
    if code == "one_set" and "low" in facts and "nan" in facts["low"]:
        code = "one_set_few"
    return first + page.say(f"under.{code}", page.is_way(page.finding.subject), **facts)


def _figures(page: Page) -> list[dict[str, str]]:
    """Give the three figures under the answer: carry, total and side of the set it speaks of."""
    own = findings.own(page.fitting)
    subject = own if findings.shows_own_first(page.finding) else page.finding.subject
    names = [name for name in _FIGURES if name in subject.averages][:3]
    return [_figure(page, subject, own, name) for name in names]


def _figure(page: Page, subject: SetResult, own: SetResult, name: str) -> dict[str, str]:
    label = page.words.say("figures.of", quantity=page.words.get(f"figures.{name}"), label=page.label(subject))
    full = page.shown.full(subject.averages[name].mean, name)
    value, _, unit = full.partition(NBSP)
    beside = subject is not own and name in own.averages
    base = (
        page.words.say("figures.own", base=page.base(subject), value=page.value(own.averages[name], name))
        if beside
        else ""
    )
    return {
        "label": label,
        "value": value,
        "unit": unit,
        "range": _range(page, subject.averages[name], name),
        "own": base,
    }


def _range(page: Page, average: Average, name: str) -> str:
    if average.n < 2:
        return ""
    low, high = page.shown.full(average.low, name), page.shown.full(average.high, name)
    if kind_of(name) != "side":
        low = low.partition(NBSP)[0]
    return page.words.say("figures.range", low=low, high=high)


def _verdicts(page: Page) -> str:
    """Write one clause a build, from the same intervals as the picture."""
    by_build = {c.build: c for c in page.fitting.comparisons}
    own = findings.own(page.fitting)
    clauses = []
    for result in page.fitting.sets:
        if result is own:
            continue
        label = page.label(result)
        if result.set.index in by_build:
            clauses.append(_verdict(page, result, by_build[result.set.index]))
        elif result.set.build.category == own.set.build.category:
            clauses.append(page.words.say("verdict.too_few", label=label))
    text = "; ".join(clauses)
    return text[:1].upper() + text[1:] + ("." if text else "")


def _verdict(page: Page, result: SetResult, c: Comparison) -> str:
    side = ("_longer" if c.difference > 0 else "_shorter") if c.verdict == "likely_real" else ""
    text = page.words.say(f"verdict.{c.verdict}{side}", label=page.label(result), base=page.base(result))
    if c.verdict == "not_settled":
        text += page.words.say("verdict.more", more=c.more_shots) if c.more_shots else page.words.get("verdict.never")
    return text


def _suggestions(page: Page, facts: dict[str, str]) -> list[str]:
    code = page.finding.code
    if code == "longer_open" and page.finding.comparison and page.finding.comparison.more_shots is None:
        code = "longer_open_never"
    asked = [page.words.get("suggest.asked")] if any(r.n_asked for r in page.fitting.sets) else []
    return [page.say(f"suggest.{code}", page.is_way(page.finding.subject), **facts), *asked]


# --- tables -------------------------------------------------------------------------------------------------------
def _key(result: SetResult) -> dict[str, str]:
    return {"letter": result.set.letter, "colour": mark_of(result.set.index)[0]}


def _cell(page: Page, result: SetResult, name: str) -> str:
    """Write one average; the median where a set is too uneven for a mean."""
    average = result.averages.get(name)
    if average is None:
        return "–"
    value = average.median if result.uneven else average.mean
    if kind_of(name) == "side":
        return page.shown.side(value).replace(f"{NBSP}{page.shown.unit('side')}", "")
    return page.shown.plain(value, name)


def _table(page: Page, names: tuple[str, ...]) -> dict[str, Any] | None:
    """Build a table of averages with a column for every quantity that some set has."""
    there = [n for n in names if any(n in r.averages for r in page.fitting.sets)]
    if not there:
        return None
    heads = []
    for name in there:
        unit = page.words.get("units.angle") if kind_of(name) == "angle" else page.shown.unit(kind_of(name))
        source = page.fitting.sources.get(name, "measured")
        note = "" if source == "measured" else page.words.get(f"table.{source}")
        heads.append({"name": page.words.get(f"quantity.{name}"), "unit": unit, "note": note})
    rows = [
        {"key": _key(r), "label": page.label(r), "n": r.n_counted, "cells": [_cell(page, r, n) for n in there]}
        for r in page.fitting.sets
    ]
    return {"heads": heads, "rows": rows}


def _where_rows(page: Page) -> list[dict[str, Any]]:
    rows = []
    for result in page.fitting.sets:
        carry = result.averages.get("carry_m")
        spread = page.shown.plain(carry.sd, "carry_m") if carry and carry.n > 1 else "–"
        cells = [_cell(page, result, "carry_m"), spread, _cell(page, result, "offline_m")]
        rows.append({"key": _key(result), "label": page.label(result), "cells": cells})
    return rows


def _reason(page: Page, shot: ShotResult) -> str:
    fate = shot.fate
    code = fate.code
    if code == "flight_disagrees":
        name = next(n for n in fate.figures if not n.startswith("expected_"))
        code = "flight_" + name.rsplit("_", 1)[0]
    values = {name: page.shown.full(value, name) for name, value in fate.figures.items()}
    return page.words.say(f"reason.{code}", **values, words=fate.words[:200])


def _aside_rows(page: Page) -> list[dict[str, Any]]:
    """List the shots set aside or asked about, numbered as in the picture."""
    several = len(page.fitting.files) > 1
    rows = []
    for shot in page.fitting.shots:
        if shot.fate.fate == "counted" and shot.fate.by != "staff":
            continue
        result = page.fitting.sets[shot.set_index]
        carry = shot.used.get("carry_m")
        rows.append(
            {
                "number": shot.number,
                "key": _key(result),
                "place": f"{shot.file[:30]}: {shot.line}" if several else str(shot.line),
                "carry": page.shown.plain(carry, "carry_m") if carry is not None else "–",
                "fate": page.words.get(f"fate.{shot.fate.fate}"),
                "reason": _reason(page, shot),
            }
        )
    return rows + [
        _unreadable(page, reading.name, row, several) for reading in page.fitting.files for row in reading.rejected
    ]


def _unreadable(page: Page, file: str, row: Row, several: bool) -> dict[str, Any]:  # noqa: FBT001 - private, named below
    known = page.words.get("row_reason")
    template = known.get(row.reason, row.reason)
    why = template.format(column=(row.column or "")[:40])
    place = f"{file[:30]}: {row.line}" if several else str(row.line)
    return {
        "number": "", "key": None, "place": place, "carry": "–", "fate": page.words.get("fate.bad_read"),
        "reason": page.words.say("reason.unreadable_row", words=why),
    }  # fmt: skip


# --- sentences of the later pages ---------------------------------------------------------------------------------
def _flight_sentence(page: Page) -> str:
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


def _how(page: Page) -> list[str]:
    """Say how the numbers came about: sources, rules, method, air."""
    say, air, sources = page.words.say, page.fitting.air, page.fitting.sources
    named = {kind: [page.words.get(f"quantity.{n}").lower() for n, s in sources.items() if s == kind] for kind in
             ("measured", "modelled", "run_modelled")}  # fmt: skip
    lines = [say(f"how.{kind}", names=", ".join(named[kind])) for kind in ("measured", "modelled") if named[kind]]
    if named["run_modelled"]:
        lines.append(say("how.run_modelled"))
    altitude = f"{air.altitude_m:.0f} m" if page.shown.system == "metres" else f"{air.altitude_m / 0.3048:.0f} ft"
    temperature = (
        f"{air.temperature_c:.0f} °C" if page.shown.system == "metres" else f"{air.temperature_c * 1.8 + 32:.0f} °F"
    )
    firmness = page.words.get(f"firmness.{air.firmness}")
    humidity = f"{air.humidity_percent:.0f} %"
    lines.append(say("how.air", temperature=temperature, altitude=altitude, humidity=humidity, firmness=firmness))
    if (air.drag_multiplier, air.lift_multiplier) != (1, 1):
        lines.append(say("how.calibrated", drag=f"{air.drag_multiplier:.3f}", lift=f"{air.lift_multiplier:.3f}"))
    lines += [say("how.average"), say("how.aside")]
    if page.fitting.comparisons:
        lines.append(say("how.compare"))
    if any(r.n_mishit for r in page.fitting.sets) and "carry_m" in sources:
        items = [f"{r.set.letter} {page.shown.full(r.averages['carry_m'].all_valid_mean, 'carry_m')}" for r in
                 page.fitting.sets if "carry_m" in r.averages]  # fmt: skip
        lines.append(say("how.all_valid", list=", ".join(items)))
    return [*lines, say("how.model")]


def _heading(page: Page) -> dict[str, str]:
    kinds = {r.set.build.category or "unknown" for r in page.fitting.sets}
    kind = page.words.get(f"kind.{kinds.pop() if len(kinds) == 1 else 'several'}")
    who = (page.fitting.facts.customer or page.fitting.name)[:80]
    date = page.words.day(page.fitting.date)
    return {
        "title": page.words.say("document.title", who=who, date=date),
        "heading": page.words.say("document.heading", kind=kind, who=who, date=date),
        "running": page.words.say("document.heading", kind=kind, who=who[:40], date=date),
        "foot": " · ".join(
            t[:80] for t in (page.settings.name, page.settings.address_line, page.settings.footnote) if t
        ),
    }


def _counted_sentence(page: Page) -> str:
    total, aside = len(page.fitting.shots), sum(r.n_mishit + r.n_bad_read for r in page.fitting.sets)
    key = "some" if aside else "none"
    return page.words.say(f"counted.{key}", balls=_balls(page, total), aside=aside)


def _context(page: Page) -> dict[str, Any]:
    facts = _facts(page)
    earned = [page.words.get(f"caution.{code}") for code in (*page.fitting.cautions, *_GENERAL_CAUTIONS)]
    return {
        **_heading(page),
        "language": page.words.get("document.code"),
        "day": page.fitting.date.isoformat(),
        "t": page.words.tree,
        "settings": page.settings,
        "units": {"length": page.shown.unit("length")},
        "lead": page.say(f"answer.{page.finding.code}", page.is_way(page.finding.subject), **facts),
        "under": _under(page, facts),
        "figures": _figures(page),
        "which": page.say("headings.which", page.is_way(page.finding.subject)),
        "verdicts": _verdicts(page),
        "suggestions": _suggestions(page, facts),
        "pictures": pictures.all_pictures(page.fitting, page.shown, page.words, page.label),
        "where_rows": _where_rows(page),
        "flight_sentence": _flight_sentence(page),
        "launch_table": _table(page, _LAUNCH_TABLE),
        "flight_table": _table(page, _FLIGHT_TABLE),
        "counted_sentence": _counted_sentence(page),
        "aside_rows": _aside_rows(page),
        "how": _how(page),
        "notes": (page.fitting.facts.notes or "")[:2000],
        "cautions": earned,
    }


@cache
def _environment() -> jinja2.Environment:
    """Give the template engine: everything is escaped, an unknown name is an error."""
    loader = jinja2.FileSystemLoader(folder("report_templates"))
    return jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)


def render(fitting: Fitting, settings: Settings) -> str:
    """Write the report's HTML."""
    language = words(settings.language)
    page = Page(fitting, settings, findings.answer(fitting), Shown(settings.units_shown, language), language)
    return _environment().get_template("report.html.j2").render(_context(page))
