"""Columns nobody knows: which hold numbers, and what each may be in which units."""

import pytest

from pipeline.profiles import fingerprint
from pipeline.reading import read_shot_file, unknown_columns_of
from pipeline.records import Given, ShotFile
from pipeline.unknown_columns import Layout, Unknown, answered, keys
from pipeline.work_messages import pack_layouts, unpack_layouts


def found(text: str, given: Given | None = None, name: str = "a.csv") -> dict[str, Unknown]:
    file, known = ShotFile(name, text.encode()), given or Given()
    columns = unknown_columns_of(file, read_shot_file(file, known), known)
    assert len({column.heading for column in columns}) == len(columns)
    return {column.heading: column for column in columns}


def shots(head: str, cell: str = "6{}.5", rest: str = "") -> str:
    return f"{head}\n" + "".join(f"Own,{230 + i},{cell.format(i)}{rest}\n" for i in range(6))


def choices(text: str, heading: str = "Vo", given: Given | None = None) -> dict[str, tuple[str, ...]]:
    return dict(found(text, given)[heading].choices)


def test_a_column_of_numbers_may_be_what_the_file_has_not_in_units_its_values_are_possible_in() -> None:
    vo = found(shots("Club,Carry (yd),Vo"))["Vo"]
    assert vo.values == ("60.5", "61.5", "62.5", "63.5")
    offered = dict(vo.choices)
    assert offered["ball_speed_mps"] == ("km/h", "m/s", "mph")
    assert offered["total_m"] == ("m", "yd")
    assert offered["dynamic_loft_deg"] == ("deg",)
    assert offered["smash_factor"] == ("%",)
    assert "carry_m" not in offered
    assert "attack_angle_deg" not in offered  # 60 degrees are no attack


def test_values_far_from_a_quantity_do_not_offer_it() -> None:
    assert choices(shots("Club,Carry (yd),Vo", "24{}0")).keys() == {"spin_rate_rpm", "backspin_rpm", "sidespin_rpm",
        "flight_time_s"}  # fmt: skip
    assert choices(shots("Club,Carry (yd),Vo", "9{}999999")) == {}
    mostly = shots("Club,Carry (yd),Vo", "62") + "Own,231,9999\nOwn,231,8888\n"
    assert "m/s" in choices(mostly)["ball_speed_mps"]


@pytest.mark.parametrize(
    ("head", "cell", "given"),
    [
        ("Club,Carry (yd),Vo (km/h)", "20{}", Given()),
        ("Club,Carry (yd),Vo\n,,km/h", "20{}", Given()),
        ("Club,Carry (yd),Vo", "20{} km/h", Given()),
    ],
)
def test_the_unit_the_file_states_is_the_only_one_and_is_not_said_again(head: str, cell: str, given: Given) -> None:
    heading = head.partition("\n")[0].rpartition(",")[2]
    text = shots(head, cell)
    assert choices(text, heading, given) == {"club_speed_mps": ("",), "ball_speed_mps": ("",)}
    column = found(text, given)[heading]
    layout = Layout("sha256:ab", "a.csv", (column,))
    answers, faults = answered([layout], {layout.key(column): "ball_speed_mps|"})
    assert (answers, faults) == ({"sha256:ab": Given(columns={heading: "ball_speed_mps"})}, {})
    again = read_shot_file(ShotFile("a.csv", text.encode()), answers["sha256:ab"])
    assert again.shots["ball_speed_mps"][0] == pytest.approx(200 / 3.6)


def test_a_unit_for_all_speeds_holds_for_speeds_alone() -> None:
    offered = choices(shots("Speed unit,km/h\nClub,Carry (yd),Vo", "20{}"))
    assert (offered["ball_speed_mps"], offered["total_m"]) == (("",), ("m", "yd"))
    assert choices(shots("Club,Carry (yd),Vo", "20{}"), given=Given(units={"speed": "km/h"}))["ball_speed_mps"] == ("",)


@pytest.mark.parametrize(
    "text",
    [
        shots("Club,Carry (yd),Remark X", "so{}"),
        shots("Club,Carry (yd),Remark X", "-"),
        shots("Club,Carry (yd),", "6{}"),
        shots("Club,Carry (yd),Carry distance (yd)", "6{}").replace(",6", ",23"),
        shots("Club,Carry (yd),V\u202eo"),
        shots("Club,Carry,Vo"),  # the file is held: that comes first
        shots("Club,Carry (yd),Ball speed (mph)", "14{}"),
        "no table\nat all\n",
        "",
    ],
)
def test_columns_without_numbers_nameless_known_or_of_no_use_are_not_asked_about(text: str) -> None:
    assert found(text) == {}


def test_what_staff_have_said_of_a_column_is_not_asked_again() -> None:
    assert found(shots("Club,Carry (yd),Vo"), Given(columns={"Vo": ""})) == {}
    assert found(shots("Club,Carry (yd),Vo"), Given(columns={"Vo": "ball_speed_mps"}, column_units={"Vo": "m/s"})) == {}


def test_columns_of_one_name_cannot_be_told_apart() -> None:
    twin = found(shots("Club,Carry (yd),Z,Z", rest=",7"))["Z"]
    assert (twin.alone, twin.choices) == (False, ())
    layout = Layout("sha256:ab", "a.csv", (twin,))
    assert keys([layout]) == {}
    assert answered([layout], {layout.key(twin): "ball_speed_mps|mph"})[0] == {}


def test_decimal_commas_and_side_words_are_read_as_the_reader_reads_them() -> None:
    text = "Club;Carry (yd);Vo;Turn\n" + "".join(f"Own;{230 + i};6{i},5;{i} L\n" for i in range(6))
    assert "m/s" in choices(text)["ball_speed_mps"]
    assert {"launch_direction_deg", "offline_m"} <= choices(text, "Turn").keys()
    assert "ball_speed_mps" not in choices(text, "Turn")


def test_a_workbook_of_records_is_asked_about_as_well() -> None:
    text = "[" + ",".join(f'{{"Club": "Own", "Carry (yd)": {230 + i}, "Vo": {60 + i}.5}}' for i in range(6)) + "]"
    assert "m/s" in dict(found(text, name="a.json")["Vo"].choices)["ball_speed_mps"]


def test_of_very_many_columns_the_first_are_asked_about() -> None:
    names = ",".join(f"V{number}" for number in range(60))
    assert list(found(shots(f"Club,Carry (yd),{names}", rest=",62" * 59))) == [f"V{number}" for number in range(40)]


# --- answers ----------------------------------------------------------------------------------------------------------
LAYOUT = Layout(
    fingerprint(["Club", "Vo", "W"]),
    "a.csv",
    (
        Unknown("Vo", ("62",), (("ball_speed_mps", ("mph", "m/s")), ("apex_m", ("m",)))),
        Unknown("W", ("62",), (("ball_speed_mps", ("mph",)), ("smash_factor", ("",)))),
    ),
)
VO, W = (LAYOUT.key(column) for column in LAYOUT.columns)


def test_an_answer_names_columns_and_units_of_its_layout() -> None:
    answers, faults = answered([LAYOUT], {VO: "ball_speed_mps|m/s", W: "smash_factor|"})
    given = Given(columns={"Vo": "ball_speed_mps", "W": "smash_factor"}, column_units={"Vo": "m/s"})
    assert (answers, faults) == ({LAYOUT.layout: given}, {})
    assert answered([LAYOUT], {}) == answered([LAYOUT], {VO: "", W: ""}) == ({}, {})
    other = Layout("sha256:cd", "b.csv", LAYOUT.columns)
    answers, faults = answered(
        [LAYOUT, other], {VO: "ball_speed_mps|m/s", other.key(LAYOUT.columns[1]): "smash_factor|"}
    )
    assert (answers["sha256:cd"], faults) == (Given(columns={"W": "smash_factor"}), {})


def test_one_quantity_for_two_columns_of_a_file_is_a_fault_of_both() -> None:
    _, faults = answered([LAYOUT], {VO: "ball_speed_mps|mph", W: "ball_speed_mps|mph"})
    assert faults.keys() == {VO, W}
    assert faults[VO] == "“Vo”: only one column of a file can be the ball speed."


@pytest.mark.parametrize("value", ["ball_speed_mps", "ball_speed_mps|", "ball_speed_mps|km/h", "carry_m|m", "x", "|"])
def test_only_what_was_offered_is_an_answer(value: str) -> None:
    answers, faults = answered([LAYOUT], {VO: value})
    assert (answers, list(faults)) == ({}, [VO])


def test_columns_go_through_the_pipe_unchanged() -> None:
    twin = Layout("sha256:cd", "b.csv", (Unknown("Z", ("1",), (), alone=False),))
    assert unpack_layouts(pack_layouts([LAYOUT, twin])) == (LAYOUT, twin)


@pytest.mark.parametrize(
    "content", [b"3", b"null", b"[1]", b'[{"layout": 3}]', b'[{"layout": "a", "file": "b"}]', b"x"]
)
def test_what_is_no_columns_is_refused(content: bytes) -> None:
    with pytest.raises((ValueError, TypeError, LookupError)):
        unpack_layouts(content)
