"""The shots of one visit as the desk shows them: set aside first, then those that count, club by club."""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass

from pipeline import wording
from pipeline.analysis.ball_flight import LAUNCH
from pipeline.analysis.fates import COUNTING
from pipeline.desk_report import Report, Shot
from pipeline.shown import Shown
from pipeline.vocabulary import words

_CELLS = (
    ("club_speed_mps", "club speed"), ("ball_speed_mps", "ball speed"), ("carry_m", "carry"), ("offline_m", "side"),
)  # fmt: skip
_LAUNCH_WORDS = dict(zip(LAUNCH, ("ball speed", "launch angle", "spin"), strict=True))
_STATES = {
    "counted": "counts", "asked": "counts, but is unusual", "mishit": "set aside as a mishit",
    "bad_read": "set aside as misread",
}  # fmt: skip
_BY = {"rule": "Decided by the rules.", "statistics": "Decided by comparison with the set.", "staff": "Staff said so."}


@dataclass(frozen=True, slots=True)
class Row:
    """A shot in words; cells are name and figure, why says who decided, said is the whole row in a sentence.

    no_flight says why its flight cannot be drawn, if it cannot.
    """

    key: str
    number: int
    place: str
    club: str
    cells: tuple[tuple[str, str], ...]
    state: str
    aside: bool
    why: str
    said: str
    no_flight: str


@dataclass(frozen=True, slots=True)
class Group:
    """The shots of one club that count by the rules and ask nothing."""

    key: str
    label: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Shots:
    """All shots of a visit; to_look_at: set aside first, then unusual ones, then those that count by staff's word.

    balls is counted as the report does: a reading that came twice is one.
    """

    to_look_at: tuple[Row, ...]
    groups: tuple[Group, ...]
    balls: int
    counted: int
    asked: int
    unreadable: int


def english(system: str) -> Shown:
    """Give how the desk shows numbers: the studio's units, and English as all of it."""
    return Shown(system, words("en"))


def told(report: Report, shown: Shown) -> Shots:
    """Say what became of every shot."""
    several = len(report.files) > 1
    looked_at = sorted(filter(_asks, report.shots), key=_rank)
    plain: dict[str, list[Row]] = {club.key: [] for club in report.clubs}
    for shot in report.shots:
        if not _asks(shot):
            plain[shot.club.key].append(_row(shot, shown, several=several))
    groups = [Group(club.key, club.label, tuple(plain[club.key])) for club in report.clubs if plain[club.key]]
    fates = [shot.fate.fate for shot in report.shots]
    counted = sum(fate in COUNTING for fate in fates)
    rows = tuple(_row(shot, shown, several=several) for shot in looked_at)
    balls = sum(shot.fate.code != "duplicate" for shot in report.shots)
    return Shots(rows, tuple(groups), balls, counted, fates.count("asked"), report.unreadable)


def _asks(shot: Shot) -> bool:
    """Tell whether a shot is one of those to look at."""
    return shot.fate.fate != "counted" or shot.fate.by == "staff"


def _rank(shot: Shot) -> int:
    """Put those set aside first, then the unusual ones."""
    return 0 if shot.fate.fate not in COUNTING else 1 if shot.fate.fate == "asked" else 2


def _row(shot: Shot, shown: Shown, *, several: bool) -> Row:
    label = f"{shot.club.label}, {shot.phase}" if shot.phase else shot.club.label
    cells = tuple((name, figure(shot, quantity, shown)) for quantity, name in _CELLS)
    place = f"{shot.file}, line {shot.line}" if several else f"line {shot.line}"
    known = ", ".join(f"{name} {text}" for name, text in cells if text != "–")
    said = f"Shot {shot.number}, {label}: {known or 'no figures'}."
    aside = shot.fate.fate not in COUNTING
    why, lacking = _why(shot, shown), _no_flight(shot)
    return Row(shot.key, shot.number, place, label, cells, _STATES[shot.fate.fate], aside, why, said, lacking)


def figure(shot: Shot, quantity: str, shown: Shown) -> str:
    """Write a quantity of a shot as the report does: what is used for the distances, else what was measured."""
    value = shot.used.get(quantity, shot.measured.get(quantity))
    return "–" if value is None else shown.full(value, quantity)


def _why(shot: Shot, shown: Shown) -> str:
    """Say why and by whom it was decided; of an edited report what can be said."""
    if not shot.fate.code:
        return ""
    reason = ""
    with suppress(LookupError, ValueError, StopIteration):
        reason = wording.why(shot.fate, shown)
    if shot.fate.by == "staff":
        reason = shot.fate.words
    sentence = f"{reason[:1].upper()}{reason[1:].rstrip('.')}. " if reason else ""
    return f"{sentence}{_BY[shot.fate.by]}"


def lacking(shot: Shot) -> list[str]:
    """Name what a shot lacks to be flown; a spin of nothing was not read."""
    without = [name for name in LAUNCH if shot.measured.get(name) is None]
    return without + (["spin_rate_rpm"] if shot.measured.get("spin_rate_rpm") == 0 else [])


def _no_flight(shot: Shot) -> str:
    names = [_LAUNCH_WORDS[name] for name in lacking(shot)]
    return f"No flight can be drawn: nothing was read for {_listed(names)}." if names else ""


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def of_club(report: Report, shot: Shot) -> Sequence[Shot]:
    """Give the other shots with a shot's club that count."""
    return [one for one in report.shots if one.club.key == shot.club.key and one is not shot and counts(one)]


def counts(shot: Shot) -> bool:
    """Tell whether a shot counts."""
    return shot.fate.fate in COUNTING
