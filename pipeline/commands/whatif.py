"""`baywright whatif DIR VISIT --attack +2deg …`: what would become of a golfer's shot."""

import argparse
from typing import TYPE_CHECKING, Any

from pipeline.commands.console import add_folder, printable
from pipeline.errors import FolderError, SettingsError, TooFewShotsError

if TYPE_CHECKING:
    from pipeline.fitting_file import KeptFitting, KeptSet
    from pipeline.room_records import Changes, WhatIf
    from pipeline.shown import Shown

# option: field of Changes, dimension, largest step that is computed, largest one the model can be held to (own
# judgement, no source), lever whose cautions go with it, help; steps in stored units
_STEPS: dict[str, tuple[str, str, float, float, str, str]] = {
    "club-speed": ("club_speed_mps", "speed", 15.0, 4.5, "club_speed", "more or less club speed, such as +3mph"),
    "strike": ("smash_factor", "ratio", 0.3, 0.06, "strike", "more or less ball speed ÷ club speed, such as +0.02"),
    "attack": ("attack_angle_deg", "angle", 15.0, 4.0, "attack", "attack angle, up is +, such as +2deg"),
    "loft": ("loft_deg", "angle", 15.0, 4.0, "fit", "loft of the club, such as -1deg"),
    "spin": ("spin_rate_rpm", "spin", 5000.0, 800.0, "fit", "spin alone, as of another head or ball, such as -200rpm"),
}
_HOLD = "hold the loft at impact where it is while the attack changes;\nelse the face turns up with the arc"
_HIGHEST_RATIO = 1.52  # of ball to club speed; common practice: above it a device misreads, no source
_LENGTHS = ("carry_m", "total_m")


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("visit", metavar="VISIT", help="name of the report's folder in outbox/, or a part only it has")
    parser.add_argument("--build", metavar="NAME", help="letter or name of the set; else the one the answer speaks of")
    for name, (_, _, _, _, _, text) in _STEPS.items():
        parser.add_argument(f"--{name}", metavar="STEP", help=text)
    parser.add_argument("--hold-loft", action="store_true", help=_HOLD)
    parser.add_argument("--json", action="store_true", help="print JSON, SI with the units in the names")
    parser.epilog = (
        "The golfer's own averages, plus the difference the model makes of the change. A guess to try, not a promise.\n"
        'example:\n  baywright whatif ~/fitting-studio "customer 0142" --build B --attack +2deg --loft -1deg'
    )


def run(given: argparse.Namespace) -> int:
    """Work it out and print it."""
    import json

    from pipeline.analysis.ball_flight import model_of
    from pipeline.analysis.delivery import shots_of
    from pipeline.analysis.whatif import OwnFlight, what_if
    from pipeline.commands.report_folder import find
    from pipeline.fitting_file import read
    from pipeline.studio import opened

    changes = _changes(given)
    studio, settings = opened(given.folder)
    path = find(studio, given.visit) / "fitting.json"
    try:
        kept = read(path.read_bytes(), str(path))
    except OSError as fault:
        msg = f"{path}: it cannot be read ({fault.strerror})."
        raise FolderError(msg) from fault
    chosen = _chosen(kept, given.build)
    own = OwnFlight(chosen.averages.get("apex_m"), chosen.averages.get("descent_angle_deg"))
    shots = shots_of(chosen.shots)
    found = what_if(shots, model_of(kept.air), chosen.category, changes, own)
    if found is None:
        raise TooFewShotsError(_why_not(shots, changes, chosen))
    if given.json:
        print(json.dumps(_document(kept, chosen, found), indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    for line in _lines(chosen, found, _shown(settings.units_shown)):
        print(printable(line.replace("\u00a0", " ")))
    return 0


def _shown(system: str) -> "Shown":
    from pipeline.shown import Shown
    from pipeline.vocabulary import words

    return Shown(system, words("en"))  # what staff read on the console is English


# --- what is asked ----------------------------------------------------------------------------------------------------
def _changes(given: argparse.Namespace) -> "Changes":
    """Read the steps; at least one, none beyond what is computed."""
    from pipeline.room_records import Changes
    from pipeline.units import quantity

    steps = {}
    for name, (field, dimension, most, _, _, _) in _STEPS.items():
        text = getattr(given, name.replace("-", "_"))
        if text is None:
            continue
        try:
            steps[field] = quantity(text, dimension)
        except SettingsError as fault:
            msg = f"--{name}: {fault}"
            raise SettingsError(msg) from fault
        if abs(steps[field]) > most:
            msg = f"--{name} {text}: that is too far from what was hit to be worked out. Take a smaller step."
            raise SettingsError(msg)
    if not any(steps.values()):
        msg = f"say what should change: {', '.join(f'--{name}' for name in _STEPS)}."
        raise SettingsError(msg)
    if given.hold_loft and not steps.get("attack_angle_deg"):
        msg = "--hold-loft goes with --attack: without it the loft at impact stays as it is anyway."
        raise SettingsError(msg)
    return Changes(**steps, follow=0.0 if given.hold_loft else 1.0)


def _named(which: "KeptSet") -> str:
    return f"{which.label}, {which.phase}" if which.phase else which.label


def _chosen(kept: "KeptFitting", wanted: str | None) -> "KeptSet":
    """Find the one set of that letter, of that name, or with that in its name."""
    text = (kept.subject if wanted is None else wanted).casefold().strip()
    tests = (
        lambda s: s.letter.casefold() == text,
        lambda s: _named(s).casefold() == text,
        lambda s: text and text in _named(s).casefold(),
    )
    for test in tests:
        found = [each for each in kept.sets if test(each)]
        if len(found) == 1:
            return found[0]
    listed = "".join(f"\n  {each.letter}  {printable(_named(each))}" for each in kept.sets)
    msg = f"--build {wanted!r}: name one of the sets by its letter or name:{listed}"
    raise SettingsError(msg)


def _why_not(shots: Any, changes: "Changes", chosen: "KeptSet") -> str:  # noqa: ANN401 - SetShots, imported late
    """Say why there is no answer."""
    from pipeline.analysis.delivery import present, tier_of
    from pipeline.analysis.whatif import FOLLOWS

    there, who = present(shots), f"{chosen.letter} {printable(_named(chosen))}"
    tier = tier_of(there)
    if tier is None:
        return f"{who}: three counted shots with ball speed and launch angle are needed, and there are fewer."
    asked = {name for name, (field, *_) in _STEPS.items() if getattr(changes, field)}
    blind = sorted(name for name in asked if _STEPS[name][0] not in FOLLOWS[tier])
    if not blind:
        return f"{who}: that change leads to no shot. Take a smaller step."
    needed = {"attack": "attack angle", "club_speed": "club speed", "spin": "spin"}
    missing = " and ".join(word for column, word in needed.items() if column not in there)
    steps = " and ".join(f"--{name}" for name in blind)
    return f"{who}: its shots have no {missing}, and without it nobody can say what {steps} does."


# --- what is said -----------------------------------------------------------------------------------------------------
def _document(kept: "KeptFitting", chosen: "KeptSet", found: "WhatIf") -> dict[str, Any]:
    import dataclasses

    return {
        "visit": kept.visit_id,
        "set": chosen.letter,
        "label": chosen.label,
        "phase": chosen.phase,
        "shots": chosen.shots.height,
        **dataclasses.asdict(found),
    }


def _lines(chosen: "KeptSet", found: "WhatIf", shown: "Shown") -> list[str]:
    """Say what changes, then before, after and difference of each quantity, then what to mind."""
    import textwrap

    steps = [
        f"{name.replace('-', ' ')} {_signed(shown, getattr(found.changes, field), field)}"
        for name, (field, *_) in _STEPS.items()
        if getattr(found.changes, field)
    ]
    held = [] if found.changes.follow else ["with the loft at impact held"]
    rows = [["", "measured", "then", "change", ""]]
    for value in found.values:
        digits = 1 if value.quantity in _LENGTHS else 0
        before = after = "–"
        if value.measured is not None:
            before = shown.plain(value.measured, value.quantity, digits)
            after = _sum(before, shown.plain(value.difference, value.quantity, digits))
        change = _signed(shown, value.difference, value.quantity, digits)
        name = shown.words.get(f"quantity.{value.quantity}")
        rows.append([name, before, after, change, shown.words.get(f"basis.{value.basis}")])
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    table = [
        "  ".join([row[0].ljust(widths[0]), *(row[k].rjust(widths[k]) for k in (1, 2, 3)), row[4]]).rstrip()
        for row in rows
    ]
    return [
        f"{chosen.letter} {_named(chosen)}, {chosen.shots.height} shots that count: {', '.join([*steps, *held])}",
        *table,
        *(row for note in _notes(chosen, found, shown) for row in textwrap.wrap(note, 100)),
    ]


def _sum(before: str, change: str) -> str:
    """Add figures as they are shown, so that a row's three numbers agree with each other."""
    from decimal import Decimal

    return str(Decimal(before.replace("−", "-")) + Decimal(change.replace("−", "-"))).replace("-", "−")


def _signed(shown: "Shown", value: float, quantity: str, extra_digits: int = 0) -> str:
    """Write a step or difference with its sign and unit."""
    from pipeline.shown import kind_of

    amount, unit = shown.plain(abs(value), quantity, extra_digits), shown.unit(kind_of(quantity))
    sign = "" if not float(amount) else "+" if value > 0 else "−"
    return f"{sign}{amount}{'' if unit in ('', '°') else ' '}{unit}"


def _notes(chosen: "KeptSet", found: "WhatIf", shown: "Shown") -> list[str]:
    from pipeline.resources import table

    changed = [row for row in _STEPS.values() if getattr(found.changes, row[0])]
    said = ["Measured averages plus the difference the model makes: something to try and measure, not a promise."]
    if any(value.basis == "common_practice" for value in found.values):
        said.append("Nobody read the spin: a usual one stands in, so what is marked partly guessed is rough.")
    if any(abs(getattr(found.changes, field)) > far for field, _, _, far, _, _ in changed):
        said.append("That is far from what was hit: take the direction, not the size.")
    if found.outside_range:
        said.append("The changed flight lies outside what the model is checked for.")
    speed, ball = chosen.averages.get("club_speed_mps"), found.values[0].then
    if speed and ball and ball / (speed + found.changes.club_speed_mps) > _HIGHEST_RATIO:
        said.append(
            f"More than {_HIGHEST_RATIO} times the club speed is not to be had from a ball that is read rightly."
        )
    advice = table("lever_advice")
    codes = dict.fromkeys(code for row in changed for code in advice[row[4]]["cautions"])
    return [*said, " ".join(shown.words.get(f"way_caution.{code}") for code in codes)]
