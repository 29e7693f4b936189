"""Invented shots only."""

from typing import Final

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from pipeline.analysis.delivery import (
    NEEDS,
    ROWS,
    SPINLESS,
    USUAL,
    Middle,
    SetShots,
    all_but_one,
    middles,
    modelled_spin,
    present,
    shots_of,
    state_of,
    tier_of,
    with_spin,
)
from pipeline.physics.strike import invert, launch
from pipeline.resources import table

Floats = NDArray[np.float64]
ALL: Final = frozenset({"club_speed", "attack", "ball_speed", "launch", "spin"})
COLUMNS: Final = {name: column for name, (column, _) in list(ROWS.items())[:5]}


def shots(count: int = 10, seed: int = 2, /, **columns: object) -> pl.DataFrame:
    generator = np.random.default_rng(seed)
    plain = {
        "club_speed_mps": generator.normal(45.0, 0.6, count),
        "attack_angle_deg": generator.normal(-1.0, 1.0, count),
        "ball_speed_mps": generator.normal(65.0, 0.8, count),
        "launch_angle_deg": generator.normal(11.5, 1.0, count),
        "spin_rate_rpm": generator.normal(2900.0, 200.0, count),
        "used_carry_m": generator.normal(210.0, 4.0, count),
        "used_total_m": generator.normal(230.0, 4.0, count),
    }
    words = {"file": ["a.csv"] * count, "time": ["2026-03-01T10:00:00"] * count}
    return pl.DataFrame({**plain, **words, **columns}, schema_overrides={"file": pl.String, "time": pl.String})


def row(found: SetShots, name: str) -> Floats:
    values: Floats = found.rows[list(ROWS).index(name)]
    return values


def some(count: int, known: int, seed: int = 3) -> list[float | None]:
    values = np.random.default_rng(seed).normal(10.0, 1.0, count).tolist()
    return [*values[:known], *[None] * (count - known)]


# --- columns ------------------------------------------------------------------------------------------------------
def test_rows_are_in_si_and_in_an_order_of_their_own() -> None:
    frame = shots()
    found = shots_of(frame)
    assert np.sort(row(found, "attack")) == pytest.approx(np.sort(np.radians(frame["attack_angle_deg"])))
    assert np.sort(row(found, "spin")) == pytest.approx(np.sort(frame["spin_rate_rpm"]) * 2 * np.pi / 60)
    assert np.sort(row(found, "carry")) == pytest.approx(np.sort(frame["used_carry_m"]))
    assert np.array_equal(shots_of(frame.reverse()).rows, found.rows)
    assert np.array_equal(shots_of(frame.sample(fraction=1.0, shuffle=True, seed=2)).rows, found.rows)


def test_rows_stay_whole_when_they_are_put_in_order() -> None:
    frame = shots()
    found = shots_of(frame).rows
    carry = dict(zip(frame["ball_speed_mps"], frame["used_carry_m"], strict=True))
    assert [carry[speed] for speed in found[2]] == found[5].tolist()


def test_distances_nobody_knows_are_missing() -> None:
    found = shots_of(shots().drop("used_carry_m", "used_total_m"))
    assert np.isnan(found.rows[5:]).all()


def test_files_and_days_are_those_known() -> None:
    times = ["2026-03-01T10:00:00", "2026-03-02", "10:31:05", None]
    found = shots_of(shots(4, file=["a.csv", "b.csv", "a.csv", "a.csv"], time=times))
    assert found.files == {"a.csv", "b.csv"}
    assert found.days == {"2026-03-01", "2026-03-02"}


@pytest.mark.parametrize("name", ["attack_angle_deg", "club_speed_mps"])
def test_a_wild_club_reading_is_missing_and_the_shot_stays(name: str) -> None:
    wild = shots().with_columns(
        pl.when(pl.int_range(pl.len()) == 4).then(40.0 + pl.col(name)).otherwise(name).alias(name)
    )
    found = shots_of(wild)
    assert np.isnan(found.rows).sum() == 1
    assert np.isnan(row(found, {v: k for k, v in COLUMNS.items()}[name])).sum() == 1


@pytest.mark.parametrize(("off", "is_wild"), [(8.0, True), (2.2, False)])
def test_what_only_stands_out_is_kept(off: float, *, is_wild: bool) -> None:
    attack = [-0.5, -0.3, -0.1, 0.1, 0.3, 0.5, -0.2, 0.2, 0.0, off]
    assert np.isnan(row(shots_of(shots(attack_angle_deg=attack)), "attack")).any() == is_wild


def test_of_four_shots_none_is_wild() -> None:
    assert np.isfinite(shots_of(shots(4, attack_angle_deg=[0.0, 0.1, 0.2, 90.0])).rows).all()


def test_values_some_ulps_apart_count_as_one_in_the_order() -> None:
    frame = shots(2)
    there, back = (
        shots_of(frame.with_columns(used_total_m=pl.Series(v)))
        for v in ([230.0, 230.0 + 1e-12], [230.0 + 1e-12, 230.0])
    )
    assert np.array_equal(there.rows[:6], back.rows[:6], equal_nan=True)


# --- tiers --------------------------------------------------------------------------------------------------------
TIERS: Final = [
    ((), "full"),
    (("spin",), "no_spin"),
    (("attack",), "no_attack"),
    (("attack", "spin"), "no_attack_no_spin"),
    (("club_speed",), "ball_only"),
    (("club_speed", "attack"), "ball_only"),
    (("club_speed", "spin"), "ball_no_spin"),
    (("club_speed", "attack", "spin"), "ball_no_spin"),
    (("ball_speed",), None),
    (("launch",), None),
    (("launch", "spin", "club_speed"), None),
]


@pytest.mark.parametrize(("missing", "tier"), TIERS)
def test_each_tier_by_what_is_missing(missing: tuple[str, ...], tier: str | None) -> None:
    assert tier_of(ALL - set(missing)) == tier
    gone = shots().with_columns(*(pl.lit(None, pl.Float64).alias(COLUMNS[name]) for name in missing))
    assert tier_of(present(shots_of(gone))) == tier
    assert tier_of(present(shots_of(gone)) & present(shots_of(shots()))) == tier


def test_two_sets_with_different_holes_share_only_what_both_have() -> None:
    without_spin = present(shots_of(shots().with_columns(spin_rate_rpm=pl.lit(0.0))))
    without_attack = present(shots_of(shots().with_columns(attack_angle_deg=pl.lit(None, pl.Float64))))
    assert tier_of(without_spin & without_attack) == "no_attack_no_spin"


@pytest.mark.parametrize(
    ("count", "known", "is_there"),
    [(10, 6, True), (10, 5, False), (5, 3, True), (5, 2, False), (3, 3, True), (3, 2, False)],
)
@pytest.mark.parametrize("name", list(COLUMNS))
def test_present_is_three_of_five_and_three_at_least(name: str, count: int, known: int, *, is_there: bool) -> None:
    found = present(shots_of(shots(count, **{COLUMNS[name]: some(count, known)})))
    assert (name in found) == is_there
    assert found | {name} == ALL


@pytest.mark.parametrize("spin", [0.0, 2500.0])
def test_a_spin_of_zero_or_without_change_is_missing(spin: float) -> None:
    assert present(shots_of(shots(spin_rate_rpm=[spin] * 10))) == ALL - {"spin"}


def test_single_zero_spins_are_missing_alone() -> None:
    spins = [2500.0 + i for i in range(9)] + [0.0]
    assert np.isnan(row(shots_of(shots(spin_rate_rpm=spins)), "spin")).sum() == 1


@pytest.mark.parametrize("attack", [0.0, -2.0])
def test_an_attack_angle_without_change_is_missing(attack: float) -> None:
    assert present(shots_of(shots(attack_angle_deg=[attack] * 10))) == ALL - {"attack"}


def test_no_shots_have_nothing() -> None:
    assert present(shots_of(shots(0))) == frozenset()


# --- the middle shot ----------------------------------------------------------------------------------------------
def test_middles_are_means_of_what_is_known() -> None:
    frame = shots(6, spin_rate_rpm=[2500.0, 2700.0, None, 2600.0, 2800.0, None])
    found = shots_of(frame)
    whole, means = middles(found, np.arange(6)[None])
    assert whole.spin_radps == pytest.approx([2650.0 * 2 * np.pi / 60])
    assert whole.club_speed_mps == pytest.approx([frame["club_speed_mps"].mean()])
    assert means[:, 0] == pytest.approx([frame["used_carry_m"].mean(), frame["used_total_m"].mean()])


def test_a_resample_without_a_value_has_none() -> None:
    found = shots_of(shots(6, spin_rate_rpm=[2500.0, 2700.0, None, 2600.0, 2800.0, None]))
    hole = int(np.flatnonzero(np.isnan(row(found, "spin")))[0])
    middle, _ = middles(found, np.array([[hole] * 6, list(range(6))]))
    assert np.isnan(middle.spin_radps).tolist() == [True, False]
    assert np.isfinite(middle.ball_speed_mps).all()


# --- what made it -------------------------------------------------------------------------------------------------
SPEEDS: Final = st.floats(25.0, 55.0)


@given(
    speed=SPEEDS,
    attack=st.floats(-6.0, 6.0),
    loft=st.floats(10.0, 45.0),
    eff=st.floats(1.2, 1.5),
    grip=st.floats(0.15, 0.4),
)
def test_the_state_gives_the_middle_shot_back(
    speed: float, attack: float, loft: float, eff: float, grip: float
) -> None:
    balls = launch(speed, np.radians(attack), np.radians(loft), eff, grip)
    middle = Middle(*(np.atleast_1d(x) for x in (speed, np.radians(attack), *balls)))
    state = state_of(middle)
    assert [float(x[0]) for x in state] == pytest.approx([speed, np.radians(attack), np.radians(loft), eff, grip])
    again = launch(*state)
    assert [float(x[0]) for x in again] == pytest.approx([float(x) for x in balls])


@given(
    speed=SPEEDS,
    ratio=st.floats(1.1, 1.5),
    attack=st.floats(-6.0, 6.0),
    above=st.floats(2.0, 30.0),
    grip=st.floats(0.15, 0.4),
)
def test_a_modelled_spin_has_the_grip_it_was_made_with(
    speed: float, ratio: float, attack: float, above: float, grip: float
) -> None:
    given_ball = (np.array([speed]), np.radians([attack]), np.array([speed * ratio]), np.radians([attack + above]))
    spin = modelled_spin(*given_ball, np.array([grip]))
    assert invert(*given_ball, spin).grip == pytest.approx([grip], rel=1e-9)


def test_a_modelled_spin_outside_its_range() -> None:
    ball = (np.array([45.0]), np.radians([5.0]), np.array([65.0]))
    assert modelled_spin(*ball, np.radians([4.0]), np.array([0.25])).tolist() == [0.0]
    assert np.isnan(modelled_spin(*ball, np.radians([11.0]), np.array([1.6]))).all()


@pytest.mark.parametrize("tier", NEEDS)
def test_spin_is_put_only_where_nobody_read_it(tier: str) -> None:
    whole, _ = middles(shots_of(shots()), np.arange(10)[None])
    filled = with_spin(whole, tier, USUAL["driver"], np.zeros((2, 1)))
    assert (filled.spin_radps != whole.spin_radps).all() == (tier in SPINLESS)
    assert filled._replace(spin_radps=whole.spin_radps) == whole
    assert 1500 < filled.spin_radps[0] * 30 / np.pi < 4500


def test_a_spin_nobody_read_uses_the_attack_that_was_and_not_one_that_was_not() -> None:
    whole, _ = middles(shots_of(shots()), np.arange(10)[None])
    steeper = whole._replace(attack_rad=whole.attack_rad - 0.05)
    nothing = np.zeros((2, 1))
    for tier, moved in (("no_spin", True), ("no_attack_no_spin", False), ("ball_no_spin", False)):
        one, other = (with_spin(m, tier, USUAL["iron"], nothing).spin_radps[0] for m in (whole, steeper))
        assert (other > one) == moved


def test_without_a_club_speed_the_usual_one_stands_in() -> None:
    whole, _ = middles(shots_of(shots()), np.arange(10)[None])
    blind = whole._replace(club_speed_mps=np.array([np.nan]), attack_rad=np.array([np.nan]))
    found = with_spin(blind, "ball_no_spin", USUAL["driver"], np.zeros((2, 1))).spin_radps
    usual = whole.ball_speed_mps / 1.45, np.zeros(1), whole.ball_speed_mps, whole.launch_rad, np.array([0.23])
    assert found == pytest.approx(modelled_spin(*usual))


@pytest.mark.parametrize("kind", [k for k in USUAL if k])
def test_unseen_grip_and_attack_move_the_spin_the_way_they_should(kind: str) -> None:
    whole, _ = middles(shots_of(shots()), np.arange(10)[None])

    def spin(grip: float, attack: float) -> float:
        return float(with_spin(whole, "no_attack_no_spin", USUAL[kind], np.array([[grip], [attack]])).spin_radps[0])

    assert spin(-1.0, 0.0) < spin(0.0, 0.0) < spin(1.0, 0.0)
    assert spin(0.0, 1.0) < spin(0.0, 0.0) < spin(0.0, -1.0)


def test_every_kind_of_club_has_what_is_usual() -> None:
    assert set(USUAL) == {*table("clubs")["category"], None}


@given(st.integers(1, 30))
def test_each_shot_is_left_out_once_and_the_others_keep_their_order(n: int) -> None:
    assert all_but_one(n).tolist() == [[other for other in range(n) if other != i] for i in range(n)]
