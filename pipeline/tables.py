"""The report's figures and tables: numbers of a fitting, written in the studio's units."""

from typing import Any

from pipeline import findings, later_words, wording
from pipeline.analysis.comparison import FEWEST_SHOTS
from pipeline.judgements import Accuracy, Bag, Spread
from pipeline.records import Average, Row, SetResult
from pipeline.shown import NBSP, kind_of
from pipeline.svg import mark_of
from pipeline.wording import Page

LAUNCH = (
    "club_speed_mps", "ball_speed_mps", "smash_factor", "attack_angle_deg", "launch_angle_deg", "launch_direction_deg",
    "spin_rate_rpm", "spin_axis_deg",
)  # fmt: skip
FLIGHT = ("carry_m", "total_m", "offline_m", "apex_m", "descent_angle_deg", "flight_time_s")
_FIGURES = ("carry_m", "total_m", "offline_m", "ball_speed_mps", "smash_factor")


def figures(page: Page) -> list[dict[str, str]]:
    """Give the three figures under the answer: carry, total and side of the set it speaks of."""
    own = findings.own(page.fitting)
    subject = own if findings.shows_own_first(page.finding) else page.finding.subject
    names = [name for name in _FIGURES if name in subject.averages][:3]
    return [_figure(page, subject, own, name) for name in names]


def _figure(page: Page, subject: SetResult, own: SetResult, name: str) -> dict[str, str]:
    label = page.words.say("figures.of", quantity=page.words.get(f"figures.{name}"), label=page.label(subject))
    full = page.shown.full(subject.typical(name), name)
    value, _, unit = full.partition(NBSP)
    beside = subject is not own and name in own.averages
    base = (
        page.words.say("figures.own", value=page.shown.full(own.typical(name), name), **page.bases(subject))
        if beside
        else ""
    )
    return {
        "label": label,
        "value": value,
        "unit": unit,
        "range": "" if subject.uneven else _range(page, subject.averages[name], name),
        "own": base,
    }


def _range(page: Page, average: Average, name: str) -> str:
    if average.n < FEWEST_SHOTS:
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
    if name not in result.averages:
        return "–"
    value = result.typical(name)
    if kind_of(name) == "side":
        return page.shown.side(value).replace(f"{NBSP}{page.shown.unit('side')}", "")
    return page.shown.plain(value, name)


def averages(page: Page, names: tuple[str, ...]) -> dict[str, Any] | None:
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


def where_rows(page: Page) -> list[dict[str, Any]]:
    """Give middle and spread of the carry, and the side, of every set."""
    rows = []
    for result in page.fitting.sets:
        carry = result.averages.get("carry_m")
        spread = page.shown.plain(carry.sd, "carry_m") if carry and carry.n > 1 else "–"
        cells = [_cell(page, result, "carry_m"), spread, _cell(page, result, "offline_m")]
        rows.append({"key": _key(result), "label": page.label(result), "cells": cells})
    return rows


def aside_rows(page: Page) -> list[dict[str, Any]]:
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


# --- accuracy and bag ---------------------------------------------------------------------------------------------
def accuracy_table(page: Page) -> dict[str, Any] | None:
    """Say of every set how far left or right its balls come down, how far apart, and how many reach the fairway."""
    found = page.fitting.judged.accuracies
    with_fairway = later_words.any_for_the_tee(page)
    heads = ["bias", "width", "depth", *(["fairway"] if with_fairway else [])]
    rows = []
    for each in found:
        result = page.fitting.sets[each.set_index]
        cells = [_bias(page, each), _spread(page, each.width), _spread(page, each.depth)]
        cells += [_fairway(page, each)] if with_fairway else []
        rows.append({"key": _key(result), "label": page.label(result), "n": each.n, "cells": cells})
    caption = page.words.get(f"table.accuracy_caption{'' if with_fairway else '_plain'}")
    written = [page.words.say(f"table.{head}", length=page.shown.unit("length")) for head in heads]
    return {"caption": caption, "heads": written, "rows": rows} if rows else None


def _bias(page: Page, found: Accuracy) -> str:
    low, high = (page.shown.side(value) for value in (found.bias_low, found.bias_high))
    return page.words.say("accuracy.bias", middle=page.shown.side(found.bias), low=low, high=high)


def _spread(page: Page, spread: Spread) -> str:
    middle, low, high = (page.shown.plain(value, "carry_m") for value in (spread.sd, spread.low, spread.high))
    return page.words.say("accuracy.spread", middle=middle, low=low, high=high)


def _fairway(page: Page, found: Accuracy) -> str:
    """Write the share in tenths: a per cent would promise more than a dozen balls can tell."""
    if not later_words.is_for_the_tee(page.fitting.sets[found.set_index]):
        return "–"
    times, low, high = (round(10 * share) for share in (found.fairway, found.fairway_low, found.fairway_high))
    return page.words.say("accuracy.fairway", times=times, low=low, high=high)


def bag_table(page: Page) -> list[dict[str, Any]] | None:
    """List the clubs of a bag, longest first, each with the step to the next."""
    bag = page.fitting.judged.bag
    if bag is None:
        return None
    rows = []
    for place, club in enumerate(bag.clubs):
        result = page.fitting.sets[club.set_index]
        low, high = (page.shown.plain(value, "carry_m") for value in (club.low, club.high))
        carry = page.words.say("bag.carry", carry=page.shown.plain(club.carry_m, "carry_m"), low=low, high=high)
        cells = [carry, *_step(page, bag, place)]
        rows.append({"key": _key(result), "label": page.label(result), "n": club.n, "cells": cells})
    return rows


def _step(page: Page, bag: Bag, place: int) -> tuple[str, str]:
    """Write the step from a club to the next, and what it looks like."""
    if place >= len(bag.gaps):
        return "–", "–"
    gap = bag.gaps[place]
    middle, low, high = (page.shown.plain(value, "carry_m") for value in (gap.gap_m, gap.low, gap.high))
    looks = page.words.listed((page.words.get(f"bag.{may}") for may in gap.may_be), "or")
    if gap.more_shots:
        looks = page.words.say("bag.open", looks=looks, more=wording.balls(page, gap.more_shots))
    return page.words.say("bag.step", step=middle, low=low, high=high), looks
