"""The desk's panel “What if?”: a form's fields into changes of a golfer's shot, and what would become of it.

It is worked out in this process and not in the child: two balls are flown, which takes some 5 ms with all libraries
loaded for the report's words anyway, while the child may be drawing for seconds. What a fitting.json that somebody
edited could cost is bounded before: by its size (desk_levers), its numbers (fitting_file) and these fields' ranges.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipeline import whatif_words
from pipeline.fitting_file import KeptFitting, KeptSet
from pipeline.room_records import Changes
from pipeline.shown import Shown, kind_of
from pipeline.whatif_words import STEPS, Told

# of each field its label, what stands under it, an example, and what its change is called in a sentence
_FIELDS = {
    "loft": ("Loft", "degrees", "-1", "another loft"),
    "attack": ("Attack angle", "degrees, up is +", "2", "another attack angle"),
    "club-speed": ("Club speed", "{unit}", "3", "another club speed"),
    "strike": ("Strike efficiency", "ball ÷ club speed", "0.02", "another strike efficiency"),
}
_NUMBER = re.compile(r"[+-]?([0-9]{1,6}(\.[0-9]{0,6})?|\.[0-9]{1,6})")
_LONGEST = 20  # letters of what was typed, shown again
_MARKED = "Nothing was worked out: see what is marked above."


@dataclass(frozen=True, slots=True)
class Field:
    """One field of the form; fault says what is wrong with what was typed."""

    name: str
    label: str
    hint: str
    typed: str
    fault: str


@dataclass(frozen=True, slots=True)
class Panel:
    """The form as it was filled in, with its answer, or a note why there is none."""

    builds: tuple[tuple[str, str], ...]  # letter and name
    chosen: str
    build_fault: str
    fields: tuple[Field, ...]
    told: Told | None = None
    note: str = ""


def panel(kept: KeptFitting, shown: Shown, given: Mapping[str, str]) -> Panel:
    """Give the form; with an answer when somebody has filled it in."""
    asked = "build" in given
    fields = tuple(_field(name, given.get(name, "0"), shown) for name in _FIELDS)
    wanted = given.get("build", kept.subject)
    chosen = next((each for each in kept.sets if each.letter == wanted), None)
    form = Panel(
        builds=tuple((each.letter, whatif_words.named(each)) for each in kept.sets),
        chosen=wanted if chosen else "",
        build_fault="Choose one of the clubs in the list." if asked and chosen is None else "",
        fields=fields,
    )
    if not asked:
        return form
    if chosen is None or any(field.fault for field in fields):
        return _with(form, note=_MARKED)
    told, note = _worked_out(kept, chosen, Changes(**_steps(fields, shown)), shown)
    return _with(form, told, note)


def _with(form: Panel, told: Told | None = None, note: str = "") -> Panel:
    return replace(form, told=told, note=note)


def _field(name: str, typed: str, shown: Shown) -> Field:
    label, hint, example, _ = _FIELDS[name]
    most = _most(name, shown)
    ends = shown.words.number(most, 0 if most >= 1 else 1)
    value = _value(typed)
    fault = ""
    if value is None or abs(value) > most:
        what = f"“{typed[:_LONGEST]}” cannot be worked out. "
        fault = f"{what}Write a number from −{ends} to {ends}, decimals with a dot, such as {example}."
    said = hint.format(unit=shown.unit(kind_of(STEPS[name].field)))
    return Field(name, label, f"{said}; −{ends} to {ends}", typed[:_LONGEST], fault)


def _most(name: str, shown: Shown) -> float:
    """Give the largest step in the shown unit: a whole number where there is one, so that it can be said."""
    step = STEPS[name]
    most = round(shown.convert(step.most, kind_of(step.field)), 6)
    return math.floor(most) if most >= 1 else most


def _value(typed: str) -> float | None:
    """Read a number; nothing typed changes nothing."""
    text = typed.strip().replace("−", "-")
    if not text:
        return 0.0
    return float(text) if _NUMBER.fullmatch(text) else None


def _steps(fields: tuple[Field, ...], shown: Shown) -> dict[str, float]:
    """Give the changes in stored units."""
    by_field = {STEPS[field.name].field: _value(field.typed) or 0.0 for field in fields}
    return {name: value * shown.stored_step(kind_of(name)) for name, value in by_field.items()}


def _worked_out(kept: KeptFitting, chosen: KeptSet, changes: Changes, shown: Shown) -> tuple[Told | None, str]:
    """Give the answer, or why there is none."""
    if changes == Changes():
        return None, "Nothing is changed: write a number other than 0 into one of the fields."
    found = whatif_words.answer(chosen, kept.air, changes)
    if found:
        return whatif_words.told(chosen, found, shown), ""
    why = whatif_words.why_not(chosen, changes, {name: called for name, (_, _, _, called) in _FIELDS.items()})
    return None, f"{chosen.letter} {whatif_words.named(chosen)}: {why}"
