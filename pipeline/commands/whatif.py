"""`baywright whatif DIR VISIT --attack +2deg …`: what would become of a golfer's shot."""

import argparse
from typing import TYPE_CHECKING, Any

from pipeline.commands.console import add_folder, printable
from pipeline.errors import FolderError, SettingsError, TooFewShotsError

if TYPE_CHECKING:
    from pipeline.fitting_file import KeptFitting, KeptSet
    from pipeline.room_records import Changes, WhatIf
    from pipeline.whatif_words import Told

_HELP = {  # of each of whatif_words.STEPS
    "club-speed": "more or less club speed, such as +3mph",
    "strike": "more or less ball speed ÷ club speed, such as +0.02",
    "attack": "attack angle, up is +, such as +2deg",
    "loft": "loft of the club, such as -1deg",
    "spin": "spin alone, as of another head or ball, such as -200rpm",
}
_HOLD = "hold the loft at impact where it is while the attack changes;\nelse the face turns up with the arc"


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("visit", metavar="VISIT", help="name of the report's folder in outbox/, or a part only it has")
    parser.add_argument("--build", metavar="NAME", help="letter or name of the set; else the one the answer speaks of")
    for name, text in _HELP.items():
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

    from pipeline import whatif_words
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
    found = whatif_words.answer(chosen, kept.air, changes)
    if found is None:
        why = whatif_words.why_not(chosen, changes, {name: f"--{name}" for name in whatif_words.STEPS})
        msg = f"{chosen.letter} {printable(whatif_words.named(chosen))}: {why}"
        raise TooFewShotsError(msg)
    if given.json:
        print(json.dumps(_document(kept, chosen, found), indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    for line in _lines(whatif_words.told(chosen, found, whatif_words.shown_to_staff(settings.units_shown))):
        print(printable(line.replace("\u00a0", " ")))
    return 0


# --- what is asked ----------------------------------------------------------------------------------------------------
def _changes(given: argparse.Namespace) -> "Changes":
    """Read the steps; at least one, none beyond what is computed."""
    from pipeline.room_records import Changes
    from pipeline.units import quantity
    from pipeline.whatif_words import STEPS

    steps = {}
    for name, step in STEPS.items():
        text = getattr(given, name.replace("-", "_"))
        if text is None:
            continue
        try:
            steps[step.field] = quantity(text, step.dimension)
        except SettingsError as fault:
            msg = f"--{name}: {fault}"
            raise SettingsError(msg) from fault
        if abs(steps[step.field]) > step.most:
            msg = f"--{name} {text}: that is too far from what was hit to be worked out. Take a smaller step."
            raise SettingsError(msg)
    if not any(steps.values()):
        msg = f"say what should change: {', '.join(f'--{name}' for name in STEPS)}."
        raise SettingsError(msg)
    if given.hold_loft and not steps.get("attack_angle_deg"):
        msg = "--hold-loft goes with --attack: without it the loft at impact stays as it is anyway."
        raise SettingsError(msg)
    return Changes(**steps, follow=0.0 if given.hold_loft else 1.0)


def _chosen(kept: "KeptFitting", wanted: str | None) -> "KeptSet":
    """Find the one set of that letter, of that name, or with that in its name."""
    from pipeline.whatif_words import named

    text = (kept.subject if wanted is None else wanted).casefold().strip()
    tests = (
        lambda s: s.letter.casefold() == text,
        lambda s: named(s).casefold() == text,
        lambda s: text and text in named(s).casefold(),
    )
    for test in tests:
        found = [each for each in kept.sets if test(each)]
        if len(found) == 1:
            return found[0]
    listed = "".join(f"\n  {each.letter}  {printable(named(each))}" for each in kept.sets)
    msg = f"--build {wanted!r}: name one of the sets by its letter or name:{listed}"
    raise SettingsError(msg)


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


def _lines(told: "Told") -> list[str]:
    """Set an answer in columns for the console."""
    import textwrap

    rows = [("", "measured", "then", "change", ""), *told.rows]
    widths = [max(len(row[column]) for row in rows) for column in range(5)]
    table = [
        "  ".join([row[0].ljust(widths[0]), *(row[k].rjust(widths[k]) for k in (1, 2, 3)), row[4]]).rstrip()
        for row in rows
    ]
    return [told.heading, *table, *(row for note in told.notes for row in textwrap.wrap(note, 100))]
