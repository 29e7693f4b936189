"""What would become of a golfer's shot, asked of a kept report and said in words: for the console and for the desk."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from pipeline.analysis import whatif
from pipeline.analysis.ball_flight import model_of
from pipeline.analysis.delivery import present, shots_of, tier_of
from pipeline.analysis.whatif import FOLLOWS, OwnFlight
from pipeline.fitting_file import KeptSet
from pipeline.records import AirUsed
from pipeline.resources import table
from pipeline.room_records import Changed, Changes, WhatIf
from pipeline.shown import Shown, kind_of
from pipeline.vocabulary import words


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that may be changed, in stored units.

    field: of Changes. most: the largest step that is computed. far: the largest one the model can be held to (own
    judgement, no source). lever: whose cautions go with it.
    """

    field: str
    dimension: str
    most: float
    far: float
    lever: str


STEPS: Final = {
    "club-speed": Step("club_speed_mps", "speed", 15.0, 4.5, "club_speed"),
    "strike": Step("smash_factor", "ratio", 0.3, 0.06, "strike"),
    "attack": Step("attack_angle_deg", "angle", 15.0, 4.0, "attack"),
    "loft": Step("loft_deg", "angle", 15.0, 4.0, "fit"),
    "spin": Step("spin_rate_rpm", "spin", 5000.0, 800.0, "fit"),
}
_HIGHEST_RATIO = 1.52  # of ball to club speed; common practice: above it a device misreads, no source
_LENGTHS = ("carry_m", "total_m")


@dataclass(frozen=True, slots=True)
class Told:
    """An answer in words: what was changed, a row each quantity (name, measured, then, change, basis), what to mind."""

    heading: str
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def shown_to_staff(system: str) -> Shown:
    """Give how numbers are shown to staff: in the studio's units, in English."""
    return Shown(system, words("en"))


def named(which: KeptSet) -> str:
    """Name a set: its club, and how it was hit."""
    return f"{which.label}, {which.phase}" if which.phase else which.label


def answer(chosen: KeptSet, air: AirUsed, changes: Changes) -> WhatIf | None:
    """Work it out; None where nobody can say: see why_not."""
    own = OwnFlight(chosen.averages.get("apex_m"), chosen.averages.get("descent_angle_deg"))
    return whatif.what_if(shots_of(chosen.shots), model_of(air), chosen.category, changes, own)


def why_not(chosen: KeptSet, changes: Changes, called: Mapping[str, str]) -> str:
    """Say why there is no answer; called: what a step is called here."""
    there = present(shots_of(chosen.shots))
    tier = tier_of(there)
    if tier is None:
        return "three counted shots with ball speed and launch angle are needed, and there are fewer."
    asked = {name for name, step in STEPS.items() if getattr(changes, step.field)}
    blind = sorted(name for name in asked if STEPS[name].field not in FOLLOWS[tier])
    if not blind:
        return "that change leads to no shot. Take a smaller step."
    needed = {"attack": "attack angle", "club_speed": "club speed", "spin": "spin"}
    missing = " and ".join(word for column, word in needed.items() if column not in there)
    steps = " and ".join(called[name] for name in blind)
    return f"its shots have no {missing}, and without it nobody can say what {steps} does."


# --- what is said -----------------------------------------------------------------------------------------------------
def told(chosen: KeptSet, found: WhatIf, shown: Shown) -> Told:
    """Say what changes, then before, after and difference of each quantity, then what to mind."""
    steps = [
        f"{name.replace('-', ' ')} {_signed(shown, getattr(found.changes, step.field), step.field)}"
        for name, step in STEPS.items()
        if getattr(found.changes, step.field)
    ]
    held = [] if found.changes.follow else ["with the loft at impact held"]
    changed = ", ".join([*steps, *held])
    return Told(
        f"{chosen.letter} {named(chosen)}, counted shots: {chosen.shots.height}; {changed}",
        tuple(_row(value, shown) for value in found.values),
        tuple(_notes(chosen, found, shown)),
    )


def _row(value: Changed, shown: Shown) -> tuple[str, ...]:
    digits = 1 if value.quantity in _LENGTHS else 0
    before = after = "–"
    if value.measured is not None:
        before = shown.plain(value.measured, value.quantity, digits)
        after = _sum(before, shown.plain(value.difference, value.quantity, digits))
    change = _signed(shown, value.difference, value.quantity, digits)
    name = shown.words.get(f"quantity.{value.quantity}")
    return name, before, after, change, shown.words.get(f"basis.{value.basis}")


def _sum(before: str, change: str) -> str:
    """Add figures as they are shown, so that a row's three numbers agree with each other."""
    return str(Decimal(before.replace("−", "-")) + Decimal(change.replace("−", "-"))).replace("-", "−")


def _signed(shown: Shown, value: float, quantity: str, extra_digits: int = 0) -> str:
    """Write a step or difference with its sign and unit."""
    amount, unit = shown.plain(abs(value), quantity, extra_digits), shown.unit(kind_of(quantity))
    sign = "" if not float(amount) else "+" if value > 0 else "−"
    return f"{sign}{amount}{'' if unit in ('', '°') else ' '}{unit}"


def _notes(chosen: KeptSet, found: WhatIf, shown: Shown) -> list[str]:
    changed = [step for step in STEPS.values() if getattr(found.changes, step.field)]
    said = ["Measured averages plus the difference the model makes: something to try and measure, not a promise."]
    if any(value.basis == "common_practice" for value in found.values):
        said.append("Nobody read the spin: a usual one stands in, so what is marked partly guessed is rough.")
    if any(abs(getattr(found.changes, step.field)) > step.far for step in changed):
        said.append("That is far from what was hit: take the direction, not the size.")
    if found.outside_range:
        said.append("The changed flight lies outside what the model is checked for.")
    speed, ball = chosen.averages.get("club_speed_mps"), found.values[0].then
    if speed and ball and ball / (speed + found.changes.club_speed_mps) > _HIGHEST_RATIO:
        said.append(
            f"More than {_HIGHEST_RATIO} times the club speed is not to be had from a ball that is read rightly."
        )
    advice = table("lever_advice")
    codes = dict.fromkeys(code for step in changed for code in advice[step.lever]["cautions"])
    return [*said, " ".join(shown.words.get(f"way_caution.{code}") for code in codes)]
