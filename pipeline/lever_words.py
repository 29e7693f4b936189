"""The levers in words and tables: what each brought, and what each could still bring, in the studio's units."""

from typing import Any

from pipeline import findings
from pipeline.analysis.delivery import SPINLESS
from pipeline.analysis.window import TRADE_APEX_M
from pipeline.lever_records import Attribution, Gain, LeverStory
from pipeline.records import SetResult
from pipeline.room_records import LaunchWindow, LeverRoom, LoftAdvice, Outlook, Ranged, Reached
from pipeline.shown import NBSP
from pipeline.wording import Page


def _worth_a_word(page: Page, metres: float) -> bool:
    """Tell whether a distance prints as one yard or metre at least, with its sign left out."""
    return float(f"{abs(page.shown.convert(metres, 'length')):.0f}") >= 1


# --- what each lever brought --------------------------------------------------------------------------------------
def story(page: Page) -> LeverStory | None:
    """Give the story to tell: of the build the answer speaks of, else of the last set against the own club."""
    told = page.fitting.levers.from_own
    subject = page.finding.subject.set.index
    return next((s for s in told if s.build == subject), told[-1] if told else None)


def _name(page: Page, lever: str) -> str:
    return str(page.words.get(f"lever.{lever}"))


def brought_name(page: Page, lever: str, *stories: LeverStory) -> str:
    """Name a lever of some stories; of a club that stays the same only the grip is left of its fit."""
    same_club = all(page.is_way(page.fitting.sets[told.build]) for told in stories)
    return _name(page, "grip" if lever == "fit" and same_club else lever)


def _span(page: Page, gain: Gain | Ranged, middle: float, digits: int = 0) -> str:
    values = (
        page.words.signed(page.shown.convert(value, "length"), digits) for value in (middle, gain.low_m, gain.high_m)
    )
    return page.words.say("lever.span", **dict(zip(("middle", "low", "high"), values, strict=True)))


def shown_levers(told: LeverStory, attribution: Attribution) -> list[Gain]:
    """Give the levers to print: attack and fit as one where they cannot be told apart."""
    if not told.together_only or attribution.attack_and_fit is None:
        return list(attribution.levers)
    return [gain for gain in attribution.levers if gain.lever not in ("attack", "fit")] + [attribution.attack_and_fit]


def brought_table(page: Page) -> list[dict[str, Any]]:
    """List what each lever brought in carry and in total, what the model explains, and what was measured."""
    told = story(page)
    if told is None:
        return []
    totals = {gain.lever: gain for gain in shown_levers(told, told.total)}
    rows = [_brought_row(page, told, gain, totals.get(gain.lever)) for gain in shown_levers(told, told.carry)]
    if told.carry.modelled:
        rows.append(_brought_row(page, told, told.carry.modelled, told.total.modelled))
    if told.carry.unexplained:
        rows.append(_brought_row(page, told, told.carry.unexplained, told.total.unexplained))
    if told.carry.measured_m is not None:
        cells = [_plain(page, attribution.measured_m) for attribution in (told.carry, told.total)]
        rows.append(
            {
                "label": _name(page, "measured"),
                "cells": [*cells, page.words.get(f"basis.{_carry_basis(page)}")],
                "sum": True,
            }
        )
    return rows


def _carry_basis(page: Page) -> str:
    """Say whether the averages of carry were measured: a restated one was, in another air."""
    return "measured" if page.fitting.sources.get("carry_m") in ("measured", "restated") else "modelled"


def _brought_row(page: Page, told: LeverStory, carry: Gain, total: Gain | None) -> dict[str, Any]:
    cells = [_span(page, gain, gain.gain_m) if gain else "–" for gain in (carry, total)]
    return {
        "label": brought_name(page, carry.lever, told),
        "cells": [*cells, page.words.get(f"basis.{'common_practice' if told.tier in SPINLESS else 'modelled'}")],
        "sum": carry.lever in ("modelled", "unexplained"),
    }


def _plain(page: Page, value: float | None) -> str:
    return "–" if value is None else page.words.signed(page.shown.convert(value, "length"))


def brought_sentences(page: Page) -> list[str]:
    """Say which levers surely brought or cost distance, and of which these shots cannot say."""
    told = story(page)
    if told is None:
        return []
    gains = shown_levers(told, told.carry)
    sure = [gain for gain in gains if gain.sayable and _worth_a_word(page, gain.gain_m)]
    open_ones = [brought_name(page, gain.lever, told) for gain in gains if not gain.sayable]
    build = page.fitting.sets[told.build]
    said = [page.words.say("lever.from_to", label=page.named(build), **page.bases(build))]
    one = page.shown.distance(page.shown.stored_step("length"))
    said += [_sure(page, told, gain) for gain in sorted(sure, key=lambda gain: -gain.gain_m)]
    said += [] if sure else [page.words.say("lever.none", one=one)]
    if open_ones:
        said.append(page.words.say("lever.open", list=page.words.listed(open_ones)))
    said += [page.words.get(f"lever_tier.{told.tier}")] if told.tier != "full" else []
    said += [page.words.get("lever.together_only")] if told.together_only else []
    return said + [page.words.get(f"lever_warning.{code}") for code in told.warnings]


def _sure(page: Page, told: LeverStory, gain: Gain) -> str:
    ends = sorted(abs(page.shown.convert(value, "length")) for value in (gain.low_m, gain.high_m))
    low, high = (page.words.number(value) for value in ends)
    changed = gain.lever == "fit" and not page.is_way(page.fitting.sets[told.build])
    key = "brought" if gain.gain_m > 0 else "cost_fit" if changed else "cost"
    amount = page.shown.distance(gain.gain_m)
    name = brought_name(page, gain.lever, told)
    return page.words.say(f"lever.{key}", lever=name, amount=amount, low=low, high=high)


def steps_table(page: Page) -> dict[str, Any] | None:
    """List the way from set to set: what was measured, and what each lever brought in carry."""
    steps = page.fitting.levers.steps
    if len(steps) < 2:  # one step is the story itself
        return None
    names = list(dict.fromkeys(gain.lever for step in steps for gain in shown_levers(step, step.carry)))
    rows = []
    for step in steps:
        gains = {gain.lever: gain for gain in shown_levers(step, step.carry)}
        letters = [page.fitting.sets[index].set.letter for index in (step.against, step.build)]
        cells = [_step_cell(page, gains.get(name)) for name in names]
        rows.append(
            {
                "label": page.words.say("lever.step", first=letters[0], then=letters[1]),
                "cells": [_plain(page, step.carry.measured_m), *cells],
            }
        )
    return {"heads": [_name(page, "measured"), *(brought_name(page, name, *steps) for name in names)], "rows": rows}


def _step_cell(page: Page, gain: Gain | None) -> str:
    if gain is None:
        return "–"
    text = _plain(page, gain.gain_m)
    return text if gain.sayable else page.words.say("lever.unsure", value=text)


# --- what each lever could still bring ----------------------------------------------------------------------------
def outlook(page: Page) -> Outlook | None:
    """Give the outlook of the set the answer speaks of, else of the own club."""
    wanted = (page.finding.subject.set.index, findings.own(page.fitting).set.index)
    found = {each.set_index: each for each in page.fitting.outlooks}
    return next((found[index] for index in wanted if index in found), None)


def _with_room(page: Page) -> list[LeverRoom]:
    """Give the levers whose room is worth a line."""
    found = outlook(page)
    levers = found.room.levers if found and found.room else ()
    return [lever for lever in levers if lever.part.carry.value_m > 0 and _worth_a_word(page, lever.part.carry.value_m)]


def room_table(page: Page) -> list[dict[str, Any]]:
    """List what each lever with room is now, where the golfer could take it, and what that would bring."""
    found, levers = outlook(page), _with_room(page)
    rows = [_room_row(page, lever) for lever in levers]
    if found and found.room and len(levers) > 1:
        cells = ["", "", _ranged(page, found.room.together.carry), ""]
        rows.append({"label": page.words.get("room.together"), "cells": cells, "sum": True})
    return rows


def _room_row(page: Page, lever: LeverRoom) -> dict[str, Any]:
    key = "at_impact" if lever.lever == "fit" else "value"  # a loft is usually said of the club itself
    ends = (page.shown.full(value, lever.quantity) for value in (lever.now, lever.now + lever.step))
    now, then = (page.words.say(f"room.{key}", value=end) for end in ends)
    cells = [now, then, _ranged(page, lever.part.carry), _ranged(page, lever.alone.carry)]
    return {"label": _name(page, lever.lever), "cells": cells, "sum": False}


def _ranged(page: Page, ranged: Ranged) -> str:
    return _span(page, ranged, ranged.value_m)


def room_basis(page: Page) -> str:
    """Say how the room is known."""
    found = outlook(page)
    return str(page.words.get(f"basis.{found.room.basis}")) if found and found.room else ""


def room_sentences(page: Page) -> list[str]:
    """Say how to work on each lever that has room, and what loft is advised."""
    found = outlook(page)
    if found is None or found.room is None:
        return []
    levers, said = _with_room(page), []
    for lever in levers:
        ways = " ".join(page.words.get(f"way.{way}") for way in lever.ways)
        said.append(page.words.say("room.way", lever=_name(page, lever.lever), ways=ways))
    told_of_loft = ("fit",) if found.room.loft_today else ()
    rest = [lever for lever in found.room.levers if lever not in levers and lever.lever not in told_of_loft]
    for key, these in _without_room(rest).items():
        names = page.words.listed(_name(page, lever.lever) for lever in these)
        one = page.shown.distance(page.shown.stored_step("length"))
        said += [page.words.say(f"room.{key}", list=names, one=one)] if these else []
    return said + _loft(page, found.room.loft_today)


def _without_room(rest: list[LeverRoom]) -> dict[str, list[LeverRoom]]:
    """Part the levers without room by why: nowhere to go, or too little to gain there."""
    nowhere = [lever for lever in rest if lever.step == 0 and lever.lever != "fit"]
    return {"no_room": nowhere, "little": [lever for lever in rest if lever not in nowhere]}


def _loft(page: Page, advice: LoftAdvice | None) -> list[str]:
    if advice is None:
        return []
    degrees = {
        "step": page.words.signed(advice.step_deg, 1),
        "by_carry": page.words.signed(advice.by_carry.step_deg, 1),
        "by_total": page.words.signed(advice.by_total.step_deg, 1),
    }
    return [page.words.say(f"loft.{advice.code}", **degrees)]


def room_cautions(page: Page) -> list[str]:
    """Word the cautions that go with the ways shown, each once."""
    codes = dict.fromkeys(code for lever in _with_room(page) for code in lever.cautions)
    return [page.words.get(f"way_caution.{code}") for code in codes]


def worth_table(page: Page) -> list[dict[str, Any]]:
    """List what one step of each quantity is worth to this golfer with this club."""
    found = outlook(page)
    rows = []
    for unit in (found.worth if found else None) or ():
        step = page.words.say(f"worth.{unit.lever}", step=_step(page, unit.step, unit.quantity))
        cells = [_span(page, each, each.value_m, 1) for each in (unit.brings.carry, unit.brings.total)]
        rows.append({"label": step, "cells": [*cells, page.words.get(f"basis.{unit.basis}")], "sum": False})
    return rows


def _step(page: Page, step: float, quantity: str) -> str:
    name = "attack_angle_deg" if quantity == "loft_deg" else quantity
    sign = "+" if step > 0 else "−"
    return sign + page.shown.full(abs(step), name)


def window_sentences(page: Page) -> list[str]:
    """Say from which launch and spin nearly nothing is lost, where the golfer is, and how high the best flight goes."""
    found = outlook(page)
    window = found.window if found else None
    if window is None:
        return []
    both = (("carry", window.by_carry), ("total", window.by_total))
    result = page.fitting.sets[found.set_index] if found else page.finding.subject
    said = [_window(page, key, one, result) for key, one in both if one]
    key, best = ("total", window.by_total) if window.by_total else ("carry", window.by_carry)
    if best and best.best.apex_m is not None and best.apex:
        low, high, apex = (page.shown.full(value, "apex_m") for value in (*TRADE_APEX_M, best.best.apex_m))
        values = {"goal": page.words.get(f"picture.{key}"), "apex": apex, "low": low.partition(NBSP)[0], "high": high}
        said.append(page.words.say(f"window.apex_{_apex(page, best.best.apex_m, best.apex, result)}", **values))
    return said


def _apex(page: Page, apex_m: float, code: str, result: SetResult) -> str:
    """Let the printed heights decide, and give the attack as a reason only to golfers who do not hit up."""
    low, high, apex = (round(page.shown.convert(metres, "height")) for metres in (*TRADE_APEX_M, apex_m))
    if low <= apex <= high:
        return "in_trade_range"
    attack = result.averages.get("attack_angle_deg")
    return "lower" if code == "lower_because_steeper" and (attack is None or attack.mean > 0) else code


def _place(page: Page, window: LaunchWindow, result: SetResult) -> str:
    """Say where in a window the golfer's own averages lie, if they are known and lie there as printed."""
    names = "launch_angle_deg", "spin_rate_rpm"
    if not result.averages.keys() >= set(names):
        return ""
    launch, low, high = (
        round(degrees, 1)
        for degrees in (result.typical("launch_angle_deg"), window.launch_low_deg, window.launch_high_deg)
    )
    spin, least, most = (
        round(rpm) for rpm in (result.typical("spin_rate_rpm"), window.spin_low_rpm, window.spin_high_rpm)
    )
    holds = {
        "in": low <= launch <= high and least <= spin <= most,
        "too_low": launch < low,
        "too_high": launch > high,
    }
    if not holds[window.place]:
        return ""
    key = window.place if window.place == "in" or _worth_a_word(page, window.gain_m) else f"just_{window.place}"
    return page.words.say(f"window.{key}", gain=page.shown.distance(window.gain_m))


def _window(page: Page, key: str, window: LaunchWindow, result: SetResult) -> str:
    full, best = page.shown.full, window.best
    text = page.words.say(
        f"window.{key}",
        launch_low=full(window.launch_low_deg, "launch_angle_deg"),
        launch_high=full(window.launch_high_deg, "launch_angle_deg"),
        spin_low=full(window.spin_low_rpm, "spin_rate_rpm"),
        spin_high=full(window.spin_high_rpm, "spin_rate_rpm"),
        lost=page.shown.percent(window.lost_share),
    )
    return " ".join(part for part in (text, _flight(page, best), _place(page, window, result)) if part)


def _flight(page: Page, best: Reached) -> str:
    if best.carry_m is None or best.total_m is None or best.apex_m is None or best.descent_angle_deg is None:
        return ""
    full = page.shown.full
    return page.words.say(
        "window.flight",
        carry=full(best.carry_m, "carry_m"),
        total=full(best.total_m, "total_m"),
        apex=full(best.apex_m, "apex_m"),
        descent=full(best.descent_angle_deg, "descent_angle_deg"),
    )
