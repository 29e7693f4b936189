"""The steps of one visit on the desk: which are done, and what the others still need from a person."""

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline import desk_builds
from pipeline.desk_builds import ClubRow
from pipeline.desk_shots import Shots
from pipeline.plurals import many

_DAMAGED = "the report's own file (fitting.json) is damaged; the button below has it written anew"


@dataclass(frozen=True, slots=True)
class Step:
    """A step: its place on the page, its name, what it needs (nothing when it is done), what else is worth knowing."""

    id: str
    name: str
    needs: str
    note: str = ""


def steps(fields: Mapping[str, str], clubs: tuple[ClubRow, ...], shots: Shots | None, own_from: str) -> dict[str, Step]:
    """Say of each step whether it is done; fields as they are kept, shots None when the report cannot be read."""
    found = (_who(fields), _clubs(fields, clubs, own_from, known=shots is not None), _shots(shots), _words(fields))
    return {step.id: step for step in found}


def _who(fields: Mapping[str, str]) -> Step:
    asked = [("customer", "who is the customer?"), ("email", "to which address does the letter go?")]
    return Step("who", "Who is it?", " ".join(what for key, what in asked if not fields[key]))


def _clubs(fields: Mapping[str, str], clubs: tuple[ClubRow, ...], own_from: str, *, known: bool) -> Step:
    """Ask for the own club where it was only guessed, and for kinds nobody knows; lofts are worth a note."""
    if not known:
        return Step("clubs", "Which clubs?", _DAMAGED)
    asked = []
    if fields[desk_builds.OWN] == desk_builds.OTHER:
        asked.append("the own club that was named is none of this visit's: which is it?")
    elif not fields[desk_builds.OWN] and len(clubs) > 1 and own_from != "label":
        asked.append("which is the customer's own club?")
    unknown = [c.label for c in clubs if not (fields[desk_builds.name("category", c.key)] or c.says_kind)]
    asked += [f"what kind of club is “{label[:40]}”?" for label in unknown]
    without = [c for c in clubs if not (fields[desk_builds.name("loft_deg", c.key)] or c.says_loft)]
    note = f"The loft of {many(len(without), 'club')} is not known." if without else ""
    return Step("clubs", "Which clubs?", " ".join(asked), note)


def _shots(shots: Shots | None) -> Step:
    if shots is None:
        return Step("shots", "Which shots count?", _DAMAGED)
    asked = f"look at {many(shots.asked, 'shot')} unusual for the set." if shots.asked else ""
    note = f"{shots.counted} of {many(shots.balls, 'ball')} count."
    if shots.unreadable:
        note += f" {many(shots.unreadable, 'line')} of the files could not be read; the report lists them."
    return Step("shots", "Which shots count?", asked, note)


def _words(fields: Mapping[str, str]) -> Step:
    said = fields["notes"] or fields["recommendation"]
    return Step("words", "Your words for the customer", "", "" if said else "None yet; they may stay out.")
