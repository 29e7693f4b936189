"""The archive's rows: keys that name nobody, whole numbers, what counts and what compares. All shots are invented."""

import datetime as dt
import io
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import session, settings, shot_archive, visit_facts
from pipeline.records import Build, Decided, ShotFile
from pipeline.resources import table
from pipeline.schema import measurements
from pipeline.work_messages import visit_key

HEAD = "Club,Ball speed (m/s),Club speed (m/s),Launch angle (deg),Spin rate (rpm),Carry (m),Note\n"
OWN = "".join(f"Own driver,{67 + i / 10},46.5,12.3,2750,{225 + i},before\n" for i in range(6))
LATER = "".join(f"Own driver,{67 + i / 10},46.5,13.0,2600,{228 + i},tee higher\n" for i in range(6))
BUILD = "".join(f"Driver 2,{68 + i / 10},46.8,13.1,2400,{233 + i},\n" for i in range(5))
FACTS = """
customer = "Invented Customer"
bay = "2"
own_club = "Own driver"
[[build]]
label = "Driver 2"
head = "Model K"
loft_deg = 10.5
shaft = "Shaft S"
"""
ID = "8f" * 32


def decided(shots: str = HEAD + OWN + LATER + BUILD, facts: str = FACTS) -> Decided:
    file = ShotFile("a.csv", shots.encode())
    found = session.decide([file], visit_facts.read(facts), settings.load(), dt.date(2026, 11, 25), {})
    assert isinstance(found, Decided)
    return found


def rows(identity: str = ID, **given: str) -> pl.DataFrame:
    return shot_archive.rows(decided(**given), identity, "studio-1", "s")


def test_a_row_says_what_was_hit_and_how_it_counts() -> None:
    made = rows()
    assert made.schema == shot_archive.schema()
    assert made.height == len((OWN + LATER + BUILD).splitlines())
    assert made["month"].unique().to_list() == ["2026-11"]
    assert made["bay"].unique().to_list() == ["2"]
    of_build = made.filter(pl.col("model") == "Model K")
    assert of_build["loft_cdeg"].unique().to_list() == [1050]
    assert of_build["shaft"].unique().to_list() == ["Shaft S"]
    assert of_build["own"].unique().to_list() == [False]
    assert of_build["compares"].unique().to_list() == [True]
    assert made["job"].unique().to_list() == ["driver"]
    assert made["carry_measured"].all()


def test_later_phases_of_the_own_club_are_its_own_and_do_not_compare() -> None:
    own = rows().filter("own")
    assert own.group_by("compares").len().sort("compares").rows() == [(False, 6), (True, 6)]
    assert own.filter("compares")["number"].to_list() == [1, 2, 3, 4, 5, 6]


def test_measures_are_whole_steps_to_the_nearest() -> None:
    first = rows().sort("number").row(1, named=True)
    assert first["carry_cm"] == 22_600
    assert first["ball_speed_cmps"] == 6_710
    assert first["launch_angle_cdeg"] == 1_230
    assert first["spin_rate_rpm"] == 2_750
    assert first["smash_factor_e4"] == round(67.1 / 46.5 * 10_000)


def test_what_no_shot_can_be_or_nobody_measured_is_left_out() -> None:
    odd = rows(shots=HEAD + OWN.replace("2750,225", ",225") + "Own driver,67,46,12,2700,399.99,before\n").sort("number")
    assert odd["spin_rate_rpm"].to_list()[0] is None
    assert odd["carry_cm"].to_list()[-1] == 39_999
    assert odd["attack_angle_cdeg"].null_count() == odd.height
    frame = pl.DataFrame({"x": [400.0, 400.02, -400.02, float("nan"), float("inf"), None]})
    assert frame.select(shot_archive._steps(frame, "x_cm", "x", 0.01))["x_cm"].to_list() == [40_000, *[None] * 5]


@pytest.mark.parametrize("name", table("archive"))
def test_sums_of_squares_of_five_thousand_million_shots_fit(name: str) -> None:
    row = table("archive")[name]
    assert 5e9 * shot_archive.MOST_STEPS**2 < 2**63
    possible = measurements().get(row["from"].removeprefix("used_"))
    if possible and name != "total_cm":  # a total of more than 400 m is left out: nobody's club is bought for it
        assert max(map(abs, possible.possible)) / row["resolution"] <= shot_archive.MOST_STEPS


def test_a_bay_may_stand_above_the_shots() -> None:
    assert rows(shots=f"Bay: 7\n{HEAD}{OWN}", facts="")["bay"].unique().to_list() == ["7"]
    assert rows(shots=HEAD + OWN, facts="")["bay"].unique().to_list() == [""]


# --- keys -------------------------------------------------------------------------------------------------------------
def test_a_customer_is_the_same_whatever_the_case_and_nobody_else() -> None:
    key = shot_archive.customer_key
    assert key("s", "Oak  Example", ID) == key("s", "oak example ", "00" * 32)
    assert key("s", "Oak Example", ID) != key("t", "Oak Example", ID)
    assert key("s", "Oak Example", ID) != key("s", "Oak Examples", ID)
    assert key("s", None, ID) == key("s", " ", ID) != key("s", None, "00" * 32)
    assert key("s", ID, "00" * 32) != key("s", None, ID)


@given(st.text(max_size=40), st.text(min_size=1, max_size=10))
def test_every_key_fits_and_is_no_name(name: str, secret: str) -> None:
    assert 0 <= shot_archive.customer_key(secret, name, ID) < 2**63


def test_no_row_and_no_byte_of_a_file_has_the_customer() -> None:
    content = shot_archive.written(rows())
    assert b"Invented" not in content
    assert "Invented Customer" not in rows().write_csv()


@pytest.mark.parametrize(
    ("build", "job"),
    [
        (Build("Driver 2", "driver", number=2), "driver"),
        (Build("7 iron", "iron", number=7), "iron 7"),
        (Build("iron", "iron"), "iron"),
        (Build("3 wood", "wood", number=3), "wood 3"),
        (Build("Sand wedge 56", "wedge", loft_deg=56), "wedge sw"),
        (Build("wedge 55.9", "wedge", loft_deg=55.9), "wedge 56"),
        (Build("wedge", "wedge"), "wedge"),
        (Build("thing"), "unknown"),
    ],
)
def test_what_a_club_does_in_the_bag(build: Build, job: str) -> None:
    assert shot_archive.job_of(build) == job


@pytest.mark.parametrize(
    ("build", "model"),
    [
        (Build("Driver 2", "driver", head="Head B", words="2"), "Head B"),
        (Build("Driver head B", "driver", words="head B"), "head B"),
        (Build("Driver 2", "driver", words="2"), ""),
        (Build("Driver #2", "driver", words="#2"), ""),
        (Build("Driver", "driver"), ""),
        (Build("Driver", "driver", head="a\tb\x00\n  c" + "x" * 200), "a b c" + "x" * 75),
    ],
)
def test_the_model_is_what_staff_said_and_never_a_number(build: Build, model: str) -> None:
    assert shot_archive.model_of(build) == model


# --- files ------------------------------------------------------------------------------------------------------------
def test_the_same_rows_in_any_order_give_the_same_bytes() -> None:
    made = rows()
    assert shot_archive.written(made) == shot_archive.written(made.sample(fraction=1, shuffle=True, seed=4))


def test_joining_keeps_every_row_but_those_of_visits_that_are_gone(tmp_path: Path) -> None:
    other = "1a" * 32
    for name, identity in (("a", ID), ("b", other)):
        (tmp_path / name).write_bytes(shot_archive.written(rows(identity)))
    both, one = (
        pl.read_parquet(io.BytesIO(shot_archive.joined([tmp_path / "a", tmp_path / "b"], gone)))
        for gone in ((), {visit_key(other)})
    )
    assert both.height == 2 * one.height
    assert one.equals(pl.read_parquet(tmp_path / "a"))
    assert one["visit"].unique().to_list() == [visit_key(ID)]


def test_a_column_that_came_later_is_empty_in_older_files(tmp_path: Path) -> None:
    rows().drop("apex_cm").write_parquet(tmp_path / "old")
    found = pl.read_parquet(io.BytesIO(shot_archive.joined([tmp_path / "old"], ())))
    assert found.schema == shot_archive.schema()
    assert found["apex_cm"].null_count() == rows().height
