"""A fitting → the HTML of its report: sentences, figures, tables and pictures put into the template."""

from functools import cache
from typing import Any

import jinja2

from pipeline import findings, pictures, wording
from pipeline.records import Average, Fitting, Row, SetResult
from pipeline.resources import folder
from pipeline.settings import Settings
from pipeline.shown import NBSP, Shown, kind_of
from pipeline.svg import mark_of
from pipeline.vocabulary import words
from pipeline.wording import Page

_LAUNCH_TABLE = (
    "club_speed_mps", "ball_speed_mps", "smash_factor", "attack_angle_deg", "launch_angle_deg", "launch_direction_deg",
    "spin_rate_rpm", "spin_axis_deg",
)  # fmt: skip
_FLIGHT_TABLE = ("carry_m", "total_m", "offline_m", "apex_m", "descent_angle_deg", "flight_time_s")
_GENERAL_CAUTIONS = ("estimates", "buying", "bay", "data")
_FIGURES = ("carry_m", "total_m", "offline_m", "ball_speed_mps", "smash_factor")


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
                "reason": wording.reason(page, shot),
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


def _context(page: Page) -> dict[str, Any]:
    facts = wording.facts(page)
    earned = [page.words.get(f"caution.{code}") for code in (*page.fitting.cautions, *_GENERAL_CAUTIONS)]
    return {
        **_heading(page),
        "language": page.words.get("document.code"),
        "day": page.fitting.date.isoformat(),
        "t": page.words.tree,
        "settings": page.settings,
        "units": {"length": page.shown.unit("length")},
        "lead": page.say(f"answer.{page.finding.code}", page.is_way(page.finding.subject), **facts),
        "under": wording.under(page, facts),
        "figures": _figures(page),
        "which": page.say("headings.which", page.is_way(page.finding.subject)),
        "verdicts": wording.verdicts(page),
        "suggestions": wording.suggestions(page, facts),
        "pictures": pictures.all_pictures(page.fitting, page.shown, page.words, page.label),
        "landing_read": page.words.get(
            f"read.{'landing' if any(r.ellipse for r in page.fitting.sets) else 'landing_few'}"
        ),
        "where_rows": _where_rows(page),
        "flight_sentence": wording.flight_sentence(page),
        "launch_table": _table(page, _LAUNCH_TABLE),
        "flight_table": _table(page, _FLIGHT_TABLE),
        "counted_sentence": wording.counted_sentence(page),
        "aside_rows": _aside_rows(page),
        "home_sentence": wording.home_sentence(page),
        "how": wording.how(page),
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
