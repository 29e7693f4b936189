"""Files → one visit. Labels, notes and shots are invented."""

import math
from collections.abc import Callable
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analysis.sets import assemble, letter, with_all_columns
from pipeline.records import Build, Dialect, FileReading, ShotSet, VisitFacts
from pipeline.schema import measurements, text_fields

MakeReading = Callable[..., FileReading]


def clubs(*labels: str | None) -> dict[str, Any]:
    return {"club": pl.Series(list(labels), dtype=pl.String), "carry_m": [100.0 + i for i in range(len(labels))]}


def test_every_column_is_there_and_typed(reading: MakeReading) -> None:
    found = with_all_columns(reading(line=[7], carry_m=[150.0]))
    assert set(found.columns) == {"file", "line"} | text_fields() | measurements().keys()
    row = found.row(0, named=True)
    assert (row["file"], row["line"], row["carry_m"], row["ball_speed_mps"], row["note"]) == (
        "a.csv",
        7,
        150.0,
        None,
        None,
    )
    assert found.schema["line"] == pl.Int64
    assert all(found.schema[name] == pl.Float64 for name in measurements())
    assert all(found.schema[name] == pl.String for name in text_fields())


@pytest.mark.parametrize(
    ("meta", "label"), [({"Club": "7 iron"}, "7 iron"), ({"Club": ""}, "driver v2"), ({}, "driver v2")]
)
def test_a_file_that_names_no_club_is_called_by_its_head_or_its_name(
    reading: MakeReading, meta: dict[str, str], label: str
) -> None:
    assert with_all_columns(reading("driver v2.csv", meta, carry_m=[1.0]))["club"].to_list() == [label]
    gaps = with_all_columns(reading("driver v2.csv", meta, **clubs("own", None)))
    assert gaps["club"].to_list() == ["own", label]


def test_a_label_ends_at_120_characters(reading: MakeReading) -> None:
    assert with_all_columns(reading(**clubs("x" * 120, "y" * 121)))["club"].to_list() == ["x" * 120, "y" * 120]


def test_staffs_order_holds_after_the_own_club_and_the_rest_follows_as_hit(reading: MakeReading) -> None:
    hit = reading(**clubs("red", "blue", "my own", "green", "grey"))

    def letters(*order: tuple[str, int]) -> str:
        sets = assemble([hit], VisitFacts(order=order)).sets
        assert [s.letter for s in sets] == list("ABCDE")
        return " ".join(s.label for s in sets)

    assert letters() == "my own red blue green grey"
    assert letters(("grey", 1)) == "my own grey red blue green"
    assert letters(("blue", 2), ("green", 1), ("my own", 9)) == "my own green blue red grey"
    assert letters(("grey", 3), ("red", 3), ("nobody", 1)) == "my own red grey blue green"
    assert letters(("grey", 1), ("blue", 2), ("grey", 3)) == "my own grey blue red green"


def test_the_first_club_hit_is_the_own_one_in_whatever_order(reading: MakeReading) -> None:
    visit = assemble([reading(**clubs("red", "blue"))], VisitFacts(order=(("blue", 1), ("red", 2))))
    assert ([s.label for s in visit.sets], visit.own_club_from) == (["red", "blue"], "first hit")


def test_sets_are_in_hitting_order_with_the_own_club_first(reading: MakeReading) -> None:
    visit = assemble(
        [reading("one.csv", **clubs("red", "blue", "red")), reading("two.csv", **clubs("my own", "blue"))], VisitFacts()
    )
    assert [(s.index, s.letter, s.label, s.is_own) for s in visit.sets] == [
        (0, "A", "my own", True),
        (1, "B", "red", False),
        (2, "C", "blue", False),
    ]
    assert visit.own_club_from == "label"
    assert visit.shots["set"].to_list() == [1, 2, 1, 0, 2]
    assert visit.shots["number"].to_list() == [1, 2, 3, 4, 5]
    assert visit.shots["file"].to_list() == ["one.csv"] * 3 + ["two.csv"] * 2
    assert visit.shots["line"].to_list() == [2, 3, 4, 2, 3]
    assert visit.shots["carry_m"].to_list() == [100.0, 101.0, 102.0, 100.0, 101.0]


@pytest.mark.parametrize(
    ("said", "label", "how"),
    [("Blue ", "blue", "visit.toml"), ("green", "my own", "label"), (None, "my own", "label"), ("", "my own", "label")],
)
def test_staff_name_the_own_club_before_the_label_does(
    reading: MakeReading, said: str | None, label: str, how: str
) -> None:
    visit = assemble([reading(**clubs("red", "my own", "blue"))], VisitFacts(own_club=said))
    assert (visit.sets[0].label, visit.own_club_from) == (label, how)
    assert [s.is_own for s in visit.sets] == [True, False, False]


def test_the_first_club_hit_is_taken_for_the_own_when_nothing_tells(reading: MakeReading) -> None:
    visit = assemble([reading(**clubs("red", "blue"))], VisitFacts())
    assert (visit.sets[0].label, visit.own_club_from) == ("red", "first hit")


def test_notes_shared_by_three_shots_are_phases(reading: MakeReading) -> None:
    notes = ["warm", "warm", "warm", None, "pushed", "late", "late", "warm"]
    labels = ["red"] * 7 + ["blue"]
    visit = assemble([reading(note=notes, **clubs(*labels))], VisitFacts())
    assert [(s.label, s.phase, s.is_own) for s in visit.sets] == [
        ("red", "warm", True),  # the first phase of the own club is what others are compared with
        ("red", "", False),
        ("blue", "", False),
    ]
    assert visit.shots["set"].to_list() == [0, 0, 0, 1, 1, 1, 1, 2]
    assert visit.shots["phase"].to_list() == ["warm"] * 3 + [""] * 5


def test_a_long_note_ends_at_120_characters(reading: MakeReading) -> None:
    visit = assemble([reading(note=["n" * 130] * 3, **clubs(*["red"] * 3))], VisitFacts())
    assert visit.sets[0].phase == "n" * 120


def test_the_ratio_is_made_from_the_speeds_where_it_is_not_given(reading: MakeReading) -> None:
    columns = {
        "ball_speed_mps": [60.0, 60.0, 60.0],
        "club_speed_mps": [40.0, 40.0, None],
        "smash_factor": [1.4, None, None],
    }
    assert assemble([reading(**columns)], VisitFacts()).shots["smash_factor"].to_list() == [1.4, 1.5, None]


def test_a_build_takes_what_staff_say_and_the_label_tells_the_rest(reading: MakeReading) -> None:
    told = Build("RED 7", None, "fitting iron", 33.0, "stiff", 0.95)
    facts = VisitFacts(builds=(told, Build("blue", "hybrid"), Build("unused", "wedge")))
    visit = assemble([reading(**clubs("red 7", "blue", "driver one"))], facts)
    assert [s.build for s in visit.sets] == [
        Build("red 7", "iron", "fitting iron", 33.0, "stiff", 0.95, number=7, words="red"),
        Build("blue", "hybrid", words="blue"),
        Build("driver one", "driver", words="one"),
    ]


def test_a_loft_in_the_label_stands_where_staff_say_none(reading: MakeReading) -> None:
    facts = VisitFacts(builds=(Build("Driver 9.5°"), Build("Wedge 56°", loft_deg=55.0)))
    visit = assemble([reading(**clubs("Driver 9.5°", "Wedge 56°", "Hybrid 22°"))], facts)
    assert [s.build.loft_deg for s in visit.sets] == [9.5, 55.0, 22.0]


def test_total_spin_and_axis_come_from_their_parts_where_the_file_gives_those_alone(reading: MakeReading) -> None:
    columns = {
        "ball_speed_mps": [60.0] * 4,
        "backspin_rpm": [3000.0, 3000.0, 3000.0, None],
        "sidespin_rpm": [400.0, -400.0, 400.0, 400.0],
        "spin_rate_rpm": [None, None, 2500.0, None],
        "spin_axis_deg": [None, None, 3.0, None],
    }
    shots = assemble([reading(**columns)], VisitFacts()).shots
    total, tilt = math.hypot(3000, 400), math.degrees(math.atan2(400, 3000))
    assert shots["spin_rate_rpm"].to_list() == [pytest.approx(total), pytest.approx(total), 2500.0, None]
    assert shots["spin_axis_deg"].to_list() == [pytest.approx(tilt), pytest.approx(-tilt), 3.0, None]


def test_files_are_joined_in_the_order_given(reading: MakeReading) -> None:
    files = [reading("one.csv", **clubs("red")), reading("two.csv", **clubs("blue"))]
    assert [s.label for s in assemble(files, VisitFacts()).sets] == ["red", "blue"]
    assert [s.label for s in assemble(files[::-1], VisitFacts()).sets] == ["blue", "red"]


def test_what_a_set_holds(reading: MakeReading) -> None:
    (only,) = assemble([reading(**clubs("driver"))], VisitFacts()).sets
    assert only == ShotSet(0, "A", "driver", "", Build("driver", "driver"), is_own=True)


@pytest.mark.parametrize(
    ("index", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (27, "AB"), (51, "AZ"), (52, "BA"), (701, "ZZ"), (702, "AAA")]
)
def test_letters(index: int, name: str) -> None:
    assert letter(index) == name


@settings(deadline=None)
@given(labels=st.lists(st.sampled_from(["red", "blue", "own red", "wedge"]), min_size=1, max_size=12))
def test_every_shot_is_in_the_set_of_its_label(labels: list[str]) -> None:
    shots = pl.DataFrame({"line": range(len(labels)), "club": labels})
    file = FileReading("a.csv", "ok", None, Dialect(), (), (), shots, (), (), (), (), {})
    visit = assemble([file], VisitFacts())
    assert [visit.sets[i].label for i in visit.shots["set"]] == labels
    assert [s.index for s in visit.sets] == list(range(len(set(labels))))
    assert [s.is_own for s in visit.sets] == [True] + [False] * (len(visit.sets) - 1)
