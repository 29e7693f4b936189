"""What a held file asks, as choices; each choice settles what `baywright answer` would settle."""

from dataclasses import replace

import pytest

from pipeline import questions
from pipeline.questions import Item
from pipeline.reading import read_shot_file
from pipeline.records import Fault, FileReading, Given, ShotFile
from pipeline.work_messages import pack_question, unpack_question

ROWS = "".join(f"Own,{140 + i % 3},{230 + i}\n" for i in range(6))


def reading(text: str) -> FileReading:
    return read_shot_file(ShotFile("a.csv", text.encode()), Given())


def asked(text: str) -> questions.Question:
    found = questions.of(reading(text))
    assert found
    return found


def test_units_that_fit_are_offered_for_each_column() -> None:
    found = asked(f"Club,Ball speed,Carry\n{ROWS}")
    assert found.items == (
        Item("unit", "Ball speed", (("mph", "mph"),)),
        Item("unit", "Carry", (("m", "m"), ("yd", "yd"))),
    )
    assert found.header == ("Club", "Ball speed", "Carry")
    answer = questions.given(found, {"0": "mph", "1": "yd"})
    assert answer == Given(column_units={"Ball speed": "mph", "Carry": "yd"})
    assert read_shot_file(ShotFile("a.csv", f"Club,Ball speed,Carry\n{ROWS}".encode()), answer).outcome == "ok"


def test_a_heading_of_two_meanings_may_be_left_out() -> None:
    text = "Club,Speed (mph),Carry (yd)\n" + "".join(f"Own,{100 + i},{230 + i}\n" for i in range(6))
    found = asked(text)
    [item] = found.items
    assert item.kind == "column"
    assert item.choices[-1] == ("aside", "neither: leave it out")
    assert all(words and "_" not in words for _, words in item.choices)
    assert questions.given(found, {"0": "aside"}) == Given(columns={"Speed (mph)": ""})
    name = item.choices[0][0]
    assert questions.given(found, {"0": name}) == Given(columns={"Speed (mph)": name})


def test_of_two_columns_of_one_thing_one_is_kept() -> None:
    text = "Club,Carry (yd),Carry distance (yd)\n" + "".join(f"Own,{230 + i},{240 + i}\n" for i in range(6))
    found = asked(text)
    [item] = found.items
    assert (item.kind, [value for value, _ in item.choices]) == ("keep", ["Carry (yd)", "Carry distance (yd)"])
    answer = questions.given(found, {"0": "Carry (yd)"})
    assert answer == Given(columns={"Carry distance (yd)": ""})
    again = read_shot_file(ShotFile("a.csv", text.encode()), answer)
    assert again.outcome == "ok"
    assert again.shots["carry_m"][0] == pytest.approx(230 * 0.9144)


def test_hand_and_decimal_mark_are_asked_of_the_whole_file() -> None:
    hand = asked(
        "Club,Ball speed (mph),Carry (yd),Club path\n" + "".join(f"Own,14{i},23{i},2 in-out\n" for i in range(6))
    )
    assert [(item.kind, [value for value, _ in item.choices]) for item in hand.items] == [("hand", ["right", "left"])]
    assert questions.given(hand, {"0": "left"}) == Given(handed="left")
    doubtful = replace(hand, items=(Item("decimal", "", ((".", "dot"), (",", "comma"))),))
    assert questions.given(doubtful, {"0": ","}) == Given(decimal=",")


@pytest.mark.parametrize(
    "chosen", [{}, {"0": "mph"}, {"0": "", "1": "yd"}, {"0": "mph", "1": "in"}, {"1": "mph", "0": "yd"}]
)
def test_nothing_but_what_was_offered_is_an_answer(chosen: dict[str, str]) -> None:
    assert questions.given(asked(f"Club,Ball speed,Carry\n{ROWS}"), chosen) is None


def test_a_column_that_fits_no_unit_is_offered_all_of_its_kind() -> None:
    found = reading(f"Club,Ball speed,Carry\n{ROWS}")
    fault = Fault("unit_unknown", {"columns": {"Ball speed": []}})
    [item] = questions._items(replace(found, fault=fault))
    assert {"mph", "m/s"} <= {value for value, _ in item.choices}


@pytest.mark.parametrize(
    "text", ["no table at all\nnone", f"Club,Ball speed (mph),Carry (yd)\n{ROWS}", "", "Carry,Carry\n1,2\n3,4\n"]
)
def test_what_choices_cannot_settle_asks_nothing(text: str) -> None:
    assert questions.of(reading(text)) is None


def test_a_question_goes_through_the_pipe_unchanged() -> None:
    found = asked(f"Club,Ball speed,Carry\n{ROWS}")
    assert unpack_question(pack_question(found)) == found
    assert unpack_question(pack_question(None)) is None


@pytest.mark.parametrize("content", [b"[]", b"{}", b'{"items": 3}', b'{"items": [{"kind": 1}]}', b"x"])
def test_what_is_no_question_is_refused(content: bytes) -> None:
    with pytest.raises((ValueError, TypeError, LookupError)):
        unpack_question(content)
