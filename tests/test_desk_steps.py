"""Which steps of a visit are done: each question stands as long as it is open, and no longer."""

import pytest

from pipeline import desk_builds, desk_steps
from pipeline.desk_builds import OTHER, OWN, name
from pipeline.desk_report import Club, club_key
from pipeline.desk_shots import Shots

WHO = {"customer": "Aspen", "email": "aspen@example.org", "notes": "", "recommendation": ""}
NONE_ASIDE = Shots((), (), balls=9, counted=9, asked=0, unreadable=0)


def clubs_step(*labels: str, own_from: str = "first hit", **fields: str) -> desk_steps.Step:
    clubs = desk_builds.rows([Club(club_key(label), label) for label in labels])
    plain = {name(part, club.key): "" for club in clubs for part in desk_builds.PARTS}
    return desk_steps.steps({**WHO, OWN: "", **plain, **fields}, clubs, NONE_ASIDE, own_from)["clubs"]


def shots_step(shots: Shots | None) -> desk_steps.Step:
    return desk_steps.steps({**WHO, OWN: ""}, (), shots, "")["shots"]


@pytest.mark.parametrize(
    ("labels", "own_from", "own", "asked"),
    [
        (("Driver 9°", "Driver 10°"), "first hit", "", "which is the customer's own club?"),
        (("Driver 9°", "Driver 10°"), "first hit", club_key("Driver 9°"), ""),
        (("Driver 9°", "Driver 10°"), "first hit", OTHER, "the own club that was named is none of this visit's"),
        (("Own driver 9°", "Driver 10°"), "label", "", ""),
        (("Driver 9°",), "first hit", "", ""),
    ],
)
def test_the_own_club_is_asked_for_where_it_was_guessed(
    labels: tuple[str, ...], own_from: str, own: str, asked: str
) -> None:
    needs = clubs_step(*labels, own_from=own_from, own_club=own).needs
    assert needs.startswith(asked)
    assert bool(needs) == bool(asked)


def test_a_kind_is_asked_for_and_a_loft_is_noted_until_somebody_says_them() -> None:
    key = club_key("Nameless")
    step = clubs_step("Nameless", "Driver 9°")
    assert "what kind of club is “Nameless”?" in step.needs
    assert step.note == "The loft of 1 club is not known."
    said = {name("category", key): "iron", name("loft_deg", key): "31", OWN: key}
    assert clubs_step("Nameless", "Driver 9°", **said) == desk_steps.Step("clubs", "Which clubs?", "")
    assert clubs_step("One iron", "Two irons").note == "The loft of 2 clubs is not known."


def test_unusual_shots_are_looked_at_and_lines_nobody_could_read_are_told() -> None:
    assert shots_step(NONE_ASIDE).needs == ""
    assert shots_step(NONE_ASIDE).note == "9 of 9 balls count."
    step = shots_step(Shots((), (), balls=1, counted=0, asked=2, unreadable=1))
    assert step.needs == "look at 2 shots unusual for the set."
    assert step.note == "0 of 1 ball count. 1 line of the files could not be read; the report lists them."


def test_of_a_damaged_report_both_steps_say_so() -> None:
    found = desk_steps.steps({**WHO, OWN: ""}, (), None, "")
    assert ["damaged" in step.needs for step in found.values()] == [False, True, True, False]


@pytest.mark.parametrize("lacking", ["customer", "email"])
def test_who_it_is_is_asked_for(lacking: str) -> None:
    fields = {**WHO, OWN: "", lacking: ""}
    assert desk_steps.steps(fields, (), NONE_ASIDE, "")["who"].needs.count("?") == 1
    assert desk_steps.steps({**WHO, OWN: ""}, (), NONE_ASIDE, "")["who"].needs == ""
