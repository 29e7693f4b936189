"""What staff answered about a layout: written, read back, refused when wrong, and put to use by the reader."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import answers, profiles
from pipeline.errors import SettingsError
from pipeline.profiles import Profile, fingerprint
from pipeline.reading import read_shot_file
from pipeline.records import FileReading, Given, ShotFile

PRINT = fingerprint(["Club", "Carry"])
HEADINGS = st.text(min_size=1, max_size=30).map(lambda t: " ".join(t.split())).filter(bool)


def read(content: str, **answered: object) -> FileReading:
    return read_shot_file(ShotFile("invented.csv", content.encode()), Given(**answered))  # type: ignore[arg-type]


# --- the file -----------------------------------------------------------------------------------------------------
@given(
    st.dictionaries(HEADINGS, st.sampled_from(["mph", "km/h", "yd", "m"]), max_size=3),
    st.dictionaries(HEADINGS, st.sampled_from(["ball_speed_mps", "", "club"]), max_size=3),
    st.sampled_from([None, "left"]),
    st.sampled_from([None, ","]),
)
def test_what_is_written_is_read_back(
    column_units: dict[str, str], columns: dict[str, str], hand: str | None, decimal: str | None
) -> None:
    made = Profile("bay 3", PRINT, Given(hand, {}, columns, column_units, {}, decimal, "dmy"))
    assert profiles.parse(profiles.written(made), "x.toml") == made


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = 'x'", "x.toml: fingerprint is missing"),
        ("fingerprint = 'f'\nhands = 'left'", "line 2: unknown key 'hands'. Did you mean 'hand'?"),
        ("fingerprint = 'f'\nhand = 'both'", 'line 2: hand = "both" is not right'),
        ("fingerprint = 'f'\n[columns_unit]\nCarry = 'elbow'", 'line 3: Carry = "elbow" is not right: a unit'),
        ("fingerprint = 'f'\n[columns]\nA = 'ball_speed'", "unknown key 'ball_speed'. Did you mean 'ball_speed_mps'?"),
        ("fingerprint = 'f'\n[columns_sign]\nA = 'sideways'", 'line 3: A = "sideways" is not right'),
        ("fingerprint = 'f'\ncolumns = 3", "write [columns] as a table"),
    ],
)
def test_a_wrong_profile_is_refused_with_its_line(text: str, says: str) -> None:
    with pytest.raises(SettingsError) as fault:
        profiles.parse(text, "x.toml")
    assert says in str(fault.value)


def test_a_layout_is_its_headings_whatever_their_case_and_spaces() -> None:
    assert fingerprint(["Ball  Speed", "CARRY"]) == fingerprint([" ball speed", "Carry "])
    assert fingerprint(["a", "b"]) != fingerprint(["b", "a"])
    assert fingerprint(["a b"]) != fingerprint(["a", "b"])


def test_a_second_answer_for_a_layout_goes_into_the_same_file(tmp_path: Path) -> None:
    first = answers.save(tmp_path, Profile("bay", PRINT, Given(column_units={"Carry": "yd"}, decimal=",")))
    second = answers.save(tmp_path, Profile("other", PRINT, Given("left", column_units={"Carry": "m", "Total": "m"})))
    assert first == second
    kept = answers.load(first)
    assert (kept.name, kept.given) == ("bay", Given("left", column_units={"Carry": "m", "Total": "m"}, decimal=","))
    other = answers.save(tmp_path, Profile("bay", fingerprint(["x"]), Given("left")))
    assert other != first


def test_answers_are_read_anew_when_a_profile_changes_and_a_broken_one_is_told(tmp_path: Path) -> None:
    known = answers.Answers()
    assert list(known.look(tmp_path)) == []
    before = known.signature
    answers.save(tmp_path, Profile("bay", PRINT, Given("left")))
    (tmp_path / "broken.toml").write_text("nonsense", encoding="utf-8")
    [told] = known.look(tmp_path)
    assert "broken.toml" in told
    assert known.by_layout == {PRINT: Given("left")}
    assert known.signature != before
    assert list(known.look(tmp_path)) == []  # told once


# --- its use ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("content", "kind", "unit", "metres_per_second"),
    [
        ("Club,Ball speed\nDriver,100\n", "unit_unknown", "mph", 44.704),
        ("Club,Ball speed (mph)\n,km/h\nDriver,100\n", "unit_conflict", "mph", 44.704),
        ("Club,Ball speed (mph)\nDriver,300\n", "unit_suspect", "km/h", 300 / 3.6),
    ],
)
def test_an_answered_unit_settles_every_question_about_units(
    content: str, kind: str, unit: str, metres_per_second: float
) -> None:
    asked = read(content)
    assert asked.fault is not None
    assert asked.fault.kind == kind
    told = read(content, column_units={asked.header[1]: unit})
    assert told.shots["ball_speed_mps"].to_list() == pytest.approx([metres_per_second])
    assert (told.columns[1].unit, told.columns[1].unit_from) == (unit, "profile")


def test_a_unit_in_the_cell_still_speaks_for_itself() -> None:
    told = read("Club,Carry\nDriver,200\nDriver,200 m\n", column_units={"Carry": "yd"})
    assert told.shots["carry_m"].to_list() == pytest.approx([182.88, 200.0])


@pytest.mark.parametrize(("decimal", "rpm"), [(".", [2.345]), (",", [2345.0])])
def test_an_answered_decimal_mark_settles_what_the_file_leaves_open(decimal: str, rpm: list[float]) -> None:
    content = "Club;Ball speed (mph);Side spin (rpm)\nDriver;140;2.345\n"
    asked = read(content)
    assert asked.fault is not None
    assert asked.fault.kind == "ambiguous_number_format"
    assert read(content, decimal=decimal).shots["sidespin_rpm"].to_list() == rpm


def test_an_answered_decimal_mark_does_not_undo_what_the_file_proves() -> None:
    content = "Club;Ball speed (mph);Apex (m)\nDriver;140,5;12,345\n"
    assert read(content, decimal=".").shots["apex_m"].to_list() == [12.345]


@pytest.mark.parametrize(
    ("word", "hand", "values"),
    [
        ("right", None, [-3.0, 2.0]),
        ("left", None, [3.0, -2.0]),
        ("in-out", "right", [-3.0, 2.0]),
        ("in-out", "left", [3.0, -2.0]),
        ("out-in", "right", [3.0, -2.0]),
        ("out-in", "left", [-3.0, 2.0]),
    ],
)
def test_an_answered_sign_turns_bare_numbers(word: str, hand: str | None, values: list[float]) -> None:
    content = "Club,Ball speed (mph),Club path (deg)\nDriver,140,-3.0\nDriver,141,2.0\n"
    told = read(content, handed=hand, column_signs={"Club path (deg)": word})
    assert told.shots["club_path_deg"].to_list() == values


def test_an_answered_sign_leaves_side_words_alone_and_may_need_the_hand() -> None:
    content = "Club,Ball speed (mph),Offline (m)\nDriver,140,3.0\nDriver,141,3.0 R\nDriver,141,4 ft\n"
    told = read(content, column_signs={"Offline (m)": "left"})
    assert told.shots["offline_m"].to_list() == pytest.approx([-3.0, 3.0, -4 * 0.3048])
    path = "Club,Ball speed (mph),Club path (deg)\nDriver,140,-3.0\n"
    asked = read(path, column_signs={"Club path (deg)": "in-out"})
    assert asked.fault is not None
    assert (asked.fault.kind, asked.fault.facts) == ("handedness_unknown", {"columns": ["Club path (deg)"]})


def test_an_answered_order_of_dates_is_taken_where_the_column_proves_none() -> None:
    content = "Date,Ball speed (mph)\n03/04/2026 10:00,140\n"
    assert read(content).shots["time"].to_list() == [None]
    assert read(content, date_order="dmy").shots["time"].to_list() == ["2026-04-03T10:00:00"]
    assert read(content, date_order="mdy").shots["time"].to_list() == ["2026-03-04T10:00:00"]
    proven = "Date,Ball speed (mph)\n13/04/2026 10:00,140\n"
    assert read(proven, date_order="mdy").shots["time"].to_list() == ["2026-04-13T10:00:00"]


def test_every_reading_with_headings_names_them() -> None:
    assert read("Club,Carry\nDriver,200\n").header == ("Club", "Carry")
    assert read("Club,Carry (yd)\nDriver,200\n").header == ("Club", "Carry (yd)")
    assert read("nothing here").header == ()
