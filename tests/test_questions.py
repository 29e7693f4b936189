"""What a held file asks, as choices; each choice settles what `baywright answer` would settle."""

from dataclasses import replace

import pytest

from pipeline import questions
from pipeline.profiles import joined
from pipeline.questions import Item
from pipeline.reading import read_shot_file
from pipeline.records import Fault, FileReading, Given, ShotFile
from pipeline.work_messages import pack_question, unpack_question

ROWS = "".join(f"Own,{140 + i % 3},{230 + i}\n" for i in range(6))


def reading(text: str) -> FileReading:
    return read_shot_file(ShotFile("a.csv", text.encode()), Given())


def of(text: str, known: Given | None = None) -> questions.Question | None:
    file = ShotFile("a.csv", text.encode())
    given = known or Given()
    return questions.of(read_shot_file(file, given), lambda more: read_shot_file(file, joined(given, more)))


def asked(text: str, known: Given | None = None) -> questions.Question:
    found = of(text, known)
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


CARRY_OR_TOTAL = (
    ("carry_m|m", "carry, in metres"),
    ("carry_m|yd", "carry, in yards"),
    ("total_m|m", "total, in metres"),
    ("total_m|yd", "total, in yards"),
    ("aside", "neither: leave it out"),
)


def distances(head: str = "Club,Distance,Vo", cell: str = "{}") -> str:
    return f"{head}\n" + "".join(f"Own,{cell.format(230 + i)},{62 + i % 3}.5\n" for i in range(6))


def test_meaning_and_unit_are_one_answer() -> None:
    found = asked(distances())
    [item] = found.items
    assert (item.kind, item.heading, item.choices) == ("column", "Distance", CARRY_OR_TOTAL)
    assert [word for word, _ in item.meanings] == ["carry", "total"]
    assert item.meanings[1][1] == "distance from the start to rest"
    answer = questions.given(found, {"0": "carry_m|yd"})
    assert answer == Given(columns={"Distance": "carry_m"}, column_units={"Distance": "yd"})
    again = read_shot_file(ShotFile("a.csv", distances().encode()), answer)
    assert (again.outcome, again.shots["carry_m"][0]) == ("ok", pytest.approx(230 * 0.9144))
    assert questions.given(found, {"0": "aside"}) == Given(columns={"Distance": ""})
    for wrong in ("carry_m", "carry_m|ft", "carry_m|", "apex_m|m", "|m"):
        assert questions.given(found, {"0": wrong}) is None


@pytest.mark.parametrize(
    ("text", "known"),
    [
        (distances("Club,Distance (yd),Vo"), Given()),
        (distances("Club,Distance,Vo\n,yd,"), Given()),
        (distances(cell="{} yd"), Given()),
        (distances("Distance unit,yd\nClub,Distance,Vo"), Given()),
        (distances(), Given(units={"length": "yd"})),
    ],
)
def test_where_the_unit_is_stated_the_meaning_alone_is_asked(text: str, known: Given) -> None:
    [item] = asked(text, known).items
    assert [value for value, _ in item.choices] == ["carry_m", "total_m", "aside"]


def test_a_meaning_is_offered_in_units_that_fit_it_beside_the_other_columns() -> None:
    text = "Club,Distance,Ball speed (mph)\n" + "".join(f"Own,{410 + i},{190 + i % 3}\n" for i in range(6))
    values = [value for value, _ in asked(text).items[0].choices]
    assert values == ["carry_m|yd", "total_m|m", "total_m|yd", "aside"]  # 410 m is no carry


def test_all_headings_of_two_meanings_and_all_units_are_asked_in_one_form() -> None:
    text = "Club,Distance,Speed,Apex\n" + "".join(f"Own,{230 + i},{140 + i % 3},{30 + i}\n" for i in range(6))
    found = asked(text)
    assert [(item.kind, item.heading) for item in found.items] == [
        ("column", "Distance"),
        ("column", "Speed"),
        ("unit", "Apex"),
    ]
    answer = questions.given(found, {"0": "carry_m|yd", "1": "ball_speed_mps|mph", "2": "yd"})
    assert answer is not None
    assert read_shot_file(ShotFile("a.csv", text.encode()), answer).outcome == "ok"
    assert questions.given(found, {"0": "carry_m|yd", "2": "yd"}) is None


def test_when_something_else_is_asked_first_the_unit_is_offered_all_the_same() -> None:
    """Two columns both say the apex: that is the reader's next question, whatever the distance is."""
    text = "Club,Distance,Apex (m),Apex height (m)\n" + "".join(f"Own,{230 + i},{30 + i},{31 + i}\n" for i in range(6))
    assert asked(text).items == asked(distances()).items


def test_two_columns_of_one_ambiguous_name_and_many_such_names_come_to_an_end() -> None:
    assert len(asked(distances("Club,Distance,Distance")).items) == 1
    names = ("Distance", "Dist", "Length", "Weite", "Distanza", "Longueur")
    text = ",".join(names) + "\n" + "".join(",".join(["230"] * len(names)) + "\n" for _ in range(4))
    assert [item.heading for item in asked(text).items] == ["Distance", "Dist", "Length", "Weite"]


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
    assert of(text) is None


def test_a_question_goes_through_the_pipe_unchanged() -> None:
    for found in (asked(f"Club,Ball speed,Carry\n{ROWS}"), asked(distances())):
        assert unpack_question(pack_question(found)) == found
    assert unpack_question(pack_question(None)) is None


@pytest.mark.parametrize("content", [b"[]", b"{}", b'{"items": 3}', b'{"items": [{"kind": 1}]}', b"x"])
def test_what_is_no_question_is_refused(content: bytes) -> None:
    with pytest.raises((ValueError, TypeError, LookupError)):
        unpack_question(content)
