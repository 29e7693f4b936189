"""The levers in words and tables: what each brought, and what each could still bring, in the studio's units."""

from typing import Any

from pipeline import findings
from pipeline.charts import signed
from pipeline.lever_records import Attribution, Gain, LeverStory
from pipeline.room_records import LaunchWindow, LeverRoom, LoftAdvice, Outlook, Ranged, Reached
from pipeline.shown import number
from pipeline.wording import Page

_TOO_LITTLE_M = 0.5  # a lever that brought less than half a metre is not worth a sentence


# --- what each lever brought --------------------------------------------------------------------------------------
def story(page: Page) -> LeverStory | None:
    """Give the story to tell: of the build the answer speaks of, else of the last set against the own club."""
    told = page.fitting.levers.from_own
    subject = page.finding.subject.set.index
    return next((s for s in told if s.build == subject), told[-1] if told else None)


def _name(page: Page, lever: str) -> str:
    return str(page.words.get(f"lever.{lever}"))


def _span(page: Page, gain: Gain | Ranged, middle: float, digits: int = 0) -> str:
    values = (signed(page.shown.convert(value, "length"), digits) for value in (middle, gain.low_m, gain.high_m))
    return page.words.say("lever.span", **dict(zip(("middle", "low", "high"), values, strict=True)))


def _shown_levers(told: LeverStory, attribution: Attribution) -> list[Gain]:
    """Give the levers to print: attack and fit as one where they cannot be told apart."""
    if not told.together_only or attribution.attack_and_fit is None:
        return list(attribution.levers)
    return [gain for gain in attribution.levers if gain.lever not in ("attack", "fit")] + [attribution.attack_and_fit]


def brought_table(page: Page) -> list[dict[str, Any]]:
    """List what each lever brought in carry and in total, what the model explains, and what was measured."""
    told = story(page)
    if told is None:
        return []
    totals = {gain.lever: gain for gain in _shown_levers(told, told.total)}
    rows = [_brought_row(page, gain.lever, gain, totals.get(gain.lever)) for gain in _shown_levers(told, told.carry)]
    if told.carry.modelled:
        rows.append(_brought_row(page, "modelled", told.carry.modelled, told.total.modelled))
    if told.carry.unexplained:
        rows.append(_brought_row(page, "unexplained", told.carry.unexplained, told.total.unexplained))
    if told.carry.measured_m is not None:
        cells = [_plain(page, attribution.measured_m) for attribution in (told.carry, told.total)]
        rows.append(
            {"label": _name(page, "measured"), "cells": [*cells, page.words.get("basis.measured")], "sum": True}
        )
    return rows


def _brought_row(page: Page, lever: str, carry: Gain, total: Gain | None) -> dict[str, Any]:
    cells = [_span(page, gain, gain.gain_m) if gain else "–" for gain in (carry, total)]
    return {
        "label": _name(page, lever),
        "cells": [*cells, page.words.get("basis.modelled")],
        "sum": lever in ("modelled", "unexplained"),
    }


def _plain(page: Page, value: float | None) -> str:
    return "–" if value is None else signed(page.shown.convert(value, "length"))


def brought_sentences(page: Page) -> list[str]:
    """Say which levers surely brought or cost distance, and of which these shots cannot say."""
    told = story(page)
    if told is None:
        return []
    gains = _shown_levers(told, told.carry)
    sure = [gain for gain in gains if gain.sayable and abs(gain.gain_m) >= _TOO_LITTLE_M]
    open_ones = [_name(page, gain.lever) for gain in gains if not gain.sayable]
    build = page.fitting.sets[told.build]
    said = [page.words.say("lever.from_to", label=page.label(build), base=page.base(build))]
    said += [_sure(page, gain) for gain in sorted(sure, key=lambda gain: -gain.gain_m)]
    if open_ones:
        said.append(page.words.say("lever.open", list=", ".join(open_ones)))
    said += [page.words.get(f"lever_tier.{told.tier}")] if told.tier != "full" else []
    said += [page.words.get("lever.together_only")] if told.together_only else []
    return said + [page.words.get(f"lever_warning.{code}") for code in told.warnings]


def _sure(page: Page, gain: Gain) -> str:
    low, high = sorted(abs(page.shown.convert(value, "length")) for value in (gain.low_m, gain.high_m))
    key = "brought" if gain.gain_m > 0 else "cost"
    amount = page.shown.distance(gain.gain_m)
    name = _name(page, gain.lever)
    return page.words.say(f"lever.{key}", lever=name, amount=amount, low=number(low, 0), high=number(high, 0))


def steps_table(page: Page) -> dict[str, Any] | None:
    """List the way from set to set: what was measured, and what each lever brought in carry."""
    steps = page.fitting.levers.steps
    if len(steps) < 2:  # one step is the story itself
        return None
    names = list(dict.fromkeys(gain.lever for step in steps for gain in _shown_levers(step, step.carry)))
    rows = []
    for step in steps:
        gains = {gain.lever: gain for gain in _shown_levers(step, step.carry)}
        letters = [page.fitting.sets[index].set.letter for index in (step.against, step.build)]
        cells = [_step_cell(page, gains.get(name)) for name in names]
        rows.append(
            {
                "label": page.words.say("lever.step", first=letters[0], then=letters[1]),
                "cells": [_plain(page, step.carry.measured_m), *cells],
            }
        )
    return {"heads": [_name(page, "measured"), *(_name(page, name) for name in names)], "rows": rows}


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


def room_table(page: Page) -> list[dict[str, Any]]:
    """List what each lever is now, where the golfer could take it, and what that would bring."""
    found = outlook(page)
    if found is None or found.room is None:
        return []
    rows = [_room_row(page, lever) for lever in found.room.levers]
    both = found.room.together
    cells = ["", "", _ranged(page, both.carry), ""]
    return [*rows, {"label": page.words.get("room.together"), "cells": cells, "sum": True}]


def _room_row(page: Page, lever: LeverRoom) -> dict[str, Any]:
    now = page.shown.full(lever.now, lever.quantity)
    then = page.shown.full(lever.now + lever.step, lever.quantity)
    cells = [now, then, _ranged(page, lever.part.carry), _ranged(page, lever.alone.carry)]
    return {"label": _name(page, lever.lever), "cells": cells, "sum": False}


def _ranged(page: Page, ranged: Ranged) -> str:
    return _span(page, ranged, ranged.value_m)


def room_sentences(page: Page) -> list[str]:
    """Say how to work on each lever that has room, and what loft is advised."""
    found = outlook(page)
    if found is None or found.room is None:
        return []
    said = []
    for lever in found.room.levers:
        if lever.part.carry.value_m >= _TOO_LITTLE_M:
            ways = " ".join(page.words.get(f"way.{way}") for way in lever.ways)
            said.append(page.words.say("room.way", lever=_name(page, lever.lever), ways=ways))
    return said + _loft(page, found.room.loft_today)


def _loft(page: Page, advice: LoftAdvice | None) -> list[str]:
    if advice is None:
        return []
    degrees = {
        "step": signed(advice.step_deg),
        "by_carry": signed(advice.by_carry.step_deg),
        "by_total": signed(advice.by_total.step_deg),
    }
    return [page.words.say(f"loft.{advice.code}", **degrees)]


def room_cautions(page: Page) -> list[str]:
    """Word the cautions that go with the ways shown, each once."""
    found = outlook(page)
    if found is None or found.room is None:
        return []
    shown = [lever for lever in found.room.levers if lever.part.carry.value_m >= _TOO_LITTLE_M]
    codes = dict.fromkeys(code for lever in shown for code in lever.cautions)
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
    said = [_window(page, key, one) for key, one in both if one]
    best = window.by_total or window.by_carry
    if best and best.best.apex_m is not None and best.apex:
        said.append(page.words.say(f"window.apex_{best.apex}", apex=page.shown.full(best.best.apex_m, "apex_m")))
    return said


def _window(page: Page, key: str, window: LaunchWindow) -> str:
    full, best = page.shown.full, window.best
    text = page.words.say(
        f"window.{key}",
        launch_low=full(window.launch_low_deg, "launch_angle_deg"),
        launch_high=full(window.launch_high_deg, "launch_angle_deg"),
        spin_low=full(window.spin_low_rpm, "spin_rate_rpm"),
        spin_high=full(window.spin_high_rpm, "spin_rate_rpm"),
        lost=f"{100 * window.lost_share:.0f} %",
    )
    flight = _flight(page, best)
    place = page.words.say(f"window.{window.place}", gain=page.shown.distance(window.gain_m))
    return " ".join(part for part in (text, flight, place) if part)


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
