"""Invented shots only: balls struck by the impact model from deliveries that are written here."""

import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from pipeline.analysis.attribution import (
    asking_levers,
    attribute,
    coalitions,
    shapley,
    speed_mixtures,
    struck_mixtures,
)
from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.comparison import compare, welch
from pipeline.analysis.delivery import USUAL, Middle, middles, shots_of
from pipeline.analysis.distances import distances, finished
from pipeline.lever_records import Attribution, LeverStory, VisitLevers
from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance
from pipeline.physics.strike import Launched, launch
from pipeline.records import Build, Fate, ShotSet

Floats = NDArray[np.float64]
MODEL: Final = FlightModel(Air(1.225, 1.789e-5, within_range=True))
FLOWN: Final = distances(MODEL)
USED: Final = USUAL["driver"]
OWN: Final = (45.0, -2.0, 13.0, 1.43, 0.23)  # club speed [m/s], attack and loft [deg], efficiency, grip
OTHER: Final = (46.0, 1.0, 14.0, 1.45, 0.22)
WORTHS: Final = st.lists(st.floats(-300.0, 300.0), min_size=16, max_size=16).map(np.array)
DELIVERIES: Final = st.tuples(
    st.floats(38.0, 50.0), st.floats(-4.0, 4.0), st.floats(11.0, 17.0), st.floats(1.38, 1.48), st.floats(0.18, 0.27)
)


def levers(sets: Sequence[ShotSet], frame: pl.DataFrame, fates: Sequence[Fate]) -> VisitLevers:
    return finished(asking_levers(sets, frame, fates), FLOWN)


def middle(delivery: Sequence[float]) -> Middle:
    speed, attack, loft, efficiency, grip = delivery
    balls = launch(speed, math.radians(attack), math.radians(loft), efficiency, grip)
    return Middle(*(np.atleast_1d(x) for x in (speed, math.radians(attack), *balls)))


def struck(delivery: Sequence[float], n: int = 12, seed: int = 1, /, **columns: object) -> pl.DataFrame:
    """Hit n shots around a delivery."""
    scatter = np.random.default_rng(seed).normal(0.0, (0.5, 0.8, 0.6, 0.012, 0.008), (n, 5))
    speed, attack, loft, efficiency, grip = (np.array(delivery) + scatter).T
    balls = launch(speed, np.radians(attack), np.radians(loft), efficiency, grip)
    carry, total = FLOWN(balls)[:2]
    plain = {
        "club_speed_mps": speed,
        "attack_angle_deg": attack,
        "ball_speed_mps": balls.ball_speed_mps,
        "launch_angle_deg": np.degrees(balls.launch_rad),
        "spin_rate_rpm": balls.spin_radps * 30 / math.pi,
        "used_carry_m": carry,
        "used_total_m": total,
        "file": ["a.csv"] * n,
        "time": [None] * n,
        "set": [0] * n,
    }
    return pl.DataFrame({**plain, **columns}, schema_overrides={"time": pl.String, "set": pl.Int64})


def told(base: pl.DataFrame, final: pl.DataFrame, loft_change_deg: float | None = 0.0) -> Attribution:
    change = None if loft_change_deg is None else math.radians(loft_change_deg)
    found = attribute(shots_of(base), shots_of(final), FLOWN, USED, change)
    assert found
    return found[1]


def gains(found: Attribution) -> dict[str, float]:
    return {gain.lever: gain.gain_m for gain in found.levers}


# --- Shapley ------------------------------------------------------------------------------------------------------
def over_all_orders(values: Floats) -> Floats:
    players = int(np.log2(len(values)))
    added = np.zeros(players)
    for order in itertools.permutations(range(players)):
        coalition = 0
        for player in order:
            added[player] += values[coalition | 1 << player] - values[coalition]
            coalition |= 1 << player
    return np.asarray(added / math.factorial(players))


def exchanged(coalition: int, a: int, b: int) -> int:
    bits = [coalition >> j & 1 for j in range(4)]
    bits[a], bits[b] = bits[b], bits[a]
    return sum(bit << j for j, bit in enumerate(bits))


def test_coalitions_are_the_bits_of_their_number() -> None:
    listed = coalitions(3)
    assert listed.shape == (8, 3)
    assert (listed @ [1, 2, 4]).tolist() == list(range(8))


@given(values=WORTHS, players=st.sampled_from([1, 2, 3, 4]))
def test_shapley_is_the_mean_over_all_orders(values: Floats, players: int) -> None:
    game = values[: 1 << players]
    assert shapley(game) == pytest.approx(over_all_orders(game), abs=1e-9)


@given(values=WORTHS)
def test_shares_sum_to_what_all_bring(values: Floats) -> None:
    assert shapley(values).sum() == pytest.approx(values[-1] - values[0], abs=1e-9)


@given(values=WORTHS, pair=st.sampled_from(list(itertools.combinations(range(4), 2))))
def test_players_that_may_be_exchanged_share_alike(values: Floats, pair: tuple[int, int]) -> None:
    alike = (values + values[[exchanged(c, *pair) for c in range(16)]]) / 2
    shares = shapley(alike)
    assert shares[pair[0]] == pytest.approx(shares[pair[1]], abs=1e-9)


@given(values=WORTHS, player=st.sampled_from(range(4)))
def test_a_player_that_changes_nothing_gets_nothing(values: Floats, player: int) -> None:
    without = values[[c & ~(1 << player) for c in range(16)]]
    assert shapley(without)[player] == pytest.approx(0.0, abs=1e-12)


@given(values=WORTHS)
def test_swapping_the_sets_turns_the_signs(values: Floats) -> None:
    assert shapley(values[::-1]) == pytest.approx(-shapley(values), abs=1e-9)


@given(values=WORTHS, other=WORTHS)
def test_shares_of_a_sum_are_sums_of_shares(values: Floats, other: Floats) -> None:
    together = shapley(np.stack([values, other, values + other], axis=1))
    assert together[:, 2] == pytest.approx(together[:, 0] + together[:, 1], abs=1e-9)


# --- mixtures -----------------------------------------------------------------------------------------------------
@settings(deadline=None)
@given(base=DELIVERIES, final=DELIVERIES, follow=st.floats(-0.5, 2.0), change=st.none() | st.floats(-0.05, 0.05))
def test_the_first_and_last_mixture_are_the_sets_themselves(
    base: tuple[float, ...], final: tuple[float, ...], follow: float, change: float | None
) -> None:
    first, last = middle(base), middle(final)
    found = struck_mixtures(first, last, np.array([follow]), change)
    for k, own in ((0, first), (-1, last)):
        assert [float(x[k, 0]) for x in found] == pytest.approx([float(x[0]) for x in own[2:]])
    back = struck_mixtures(last, first, np.array([follow]), None if change is None else -change)
    for x, y in zip(found, back, strict=True):
        assert x == pytest.approx(y[::-1])


@settings(deadline=None)
@given(base=DELIVERIES, final=DELIVERIES, lever=st.sampled_from(range(4)), follow=st.floats(0.0, 2.0))
def test_a_lever_that_did_not_move_brings_nothing(
    base: tuple[float, ...], final: tuple[float, ...], lever: int, follow: float
) -> None:
    """Attack: the same angle; fit: the same grip and just the loft that follows the attack."""
    same = list(final)
    for place in ((0,), (3,), (1,), (4,))[lever]:
        same[place] = base[place]
    if lever == 3:
        same[2] = base[2] + follow * (same[1] - base[1])
    balls = struck_mixtures(middle(base), middle(same), np.array([follow]), None)
    assert shapley(FLOWN(balls)[0, :, 0])[lever] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("follow", [0.0, 0.5, 1.0])
def test_how_far_the_loft_follows_moves_attack_and_fit_alone(follow: float) -> None:
    shares, half = (
        shapley(FLOWN(struck_mixtures(middle(OWN), middle(OTHER), np.array([f]), None))[0, :, 0]) for f in (follow, 0.5)
    )
    assert shares[:2] == pytest.approx(half[:2], abs=0.3)
    assert shares[2:].sum() == pytest.approx(half[2:].sum(), abs=0.3)
    assert shares.sum() == pytest.approx(half.sum(), abs=1e-9)


def test_a_known_loft_change_is_the_clubs_and_the_rest_goes_with_the_attack() -> None:
    steeper = (*OWN[:2], OWN[2] + 2.0, *OWN[3:])
    pair = middle(OWN), middle(steeper)

    def shares(change_deg: float) -> Floats:
        return shapley(FLOWN(struck_mixtures(*pair, np.array([1.0]), math.radians(change_deg)))[0, :, 0])

    of_club, shared, of_golfer = shares(2.0), shares(1.0), shares(0.0)
    whole = of_club.sum()
    assert abs(whole) > 0.5
    assert of_club == pytest.approx([0, 0, 0, whole], abs=1e-9)
    assert of_golfer == pytest.approx([0, 0, whole, 0], abs=1e-9)
    assert shared[2] == pytest.approx(whole / 2, rel=0.01)
    assert shared[3] == pytest.approx(whole / 2, rel=0.01)


@pytest.mark.parametrize("club", [True, False])
def test_speed_mixtures_end_in_the_sets_and_scale_the_spin_with_the_speed(*, club: bool) -> None:
    first, last = middle(OWN), middle(OTHER)
    found = speed_mixtures(first, last, club=club)
    for k, own in ((0, first), (-1, last)):
        assert [float(x[k, 0]) for x in found] == pytest.approx([float(x[0]) for x in own[2:]])
    faster = found[0][1, 0] / found[0][0, 0]
    speeds = (last.club_speed_mps / first.club_speed_mps) if club else (last.ball_speed_mps / first.ball_speed_mps)
    assert faster == pytest.approx(float(speeds[0]))
    assert found.spin_radps[1, 0] / found.spin_radps[0, 0] == pytest.approx(faster)
    assert found.launch_rad[1, 0] == first.launch_rad[0]
    if club:
        assert found.spin_radps[2, 0] == pytest.approx(first.spin_radps[0])


# --- the link to the flight ---------------------------------------------------------------------------------------
def test_distances_are_those_of_the_studios_model() -> None:
    model = FlightModel(Air(1.1, 1.8e-5, within_range=True), 0.6, 1.05, 0.95)
    balls = Launched(np.array([[60.0, 65.0]]), np.radians([[12.0, 14.0]]), np.array([[280.0, 300.0]]))
    alone = fly(
        Launch.of(balls.ball_speed_mps[0], balls.launch_rad[0], balls.spin_radps[0]),
        model.air,
        drag_scale=1.05,
        lift_scale=0.95,
    )
    found = distances(model)(balls)
    assert found.shape == (6, 1, 2)
    assert found[0, 0] == pytest.approx(alone.carry_m)
    assert found[1, 0] == pytest.approx(total_distance(alone, 0.6).total_m)


# --- two sets -----------------------------------------------------------------------------------------------------
TIERS: Final = [
    ((), "full", ("club_speed", "strike", "attack", "fit"), True),
    (("spin_rate_rpm",), "no_spin", ("club_speed", "strike", "attack", "fit"), True),
    (("attack_angle_deg",), "no_attack", ("club_speed", "strike", "launch_and_spin"), True),
    (("attack_angle_deg", "spin_rate_rpm"), "no_attack_no_spin", ("club_speed", "strike"), False),
    (("club_speed_mps",), "ball_only", ("ball_speed", "launch_and_spin"), True),
    (("club_speed_mps", "attack_angle_deg"), "ball_only", ("ball_speed", "launch_and_spin"), True),
    (("club_speed_mps", "spin_rate_rpm"), "ball_no_spin", ("ball_speed",), False),
]


@pytest.mark.parametrize(("missing", "tier", "names", "whole"), TIERS)
@pytest.mark.parametrize("where", ["base", "final", "both"])
def test_each_tier_prints_its_levers(
    missing: tuple[str, ...], tier: str, names: tuple[str, ...], where: str, *, whole: bool
) -> None:
    blank = {name: pl.lit(None, pl.Float64) for name in missing}
    base, final = struck(OWN), struck(OTHER, 12, 2)
    base = base.with_columns(**blank) if where != "final" else base
    final = final.with_columns(**blank) if where != "base" else final
    found = attribute(shots_of(base), shots_of(final), FLOWN, USED, None)
    assert found
    assert found[0] == tier
    for told_of, quantity in zip(found[1:], ("carry_m", "total_m"), strict=True):
        assert told_of.quantity == quantity
        assert tuple(gain.lever for gain in told_of.levers) == names
        assert all(gain.low_m < gain.gain_m < gain.high_m for gain in told_of.levers if gain.lever != "fit")
        assert (told_of.modelled is not None) == (told_of.unexplained is not None) == whole
        assert (told_of.attack_and_fit is not None) == ("fit" in names)
        assert told_of.measured_m is not None
        if told_of.modelled:
            assert sum(gain.gain_m for gain in told_of.levers) == pytest.approx(told_of.modelled.gain_m, abs=1e-9)


@pytest.mark.parametrize("missing", [["ball_speed_mps"], ["launch_angle_deg"]])
def test_without_ball_speed_or_launch_nothing_is_said(missing: list[str]) -> None:
    blank = struck(OTHER).with_columns(pl.lit(None, pl.Float64).alias(name) for name in missing)
    assert attribute(shots_of(struck(OWN)), shots_of(blank), FLOWN, USED) is None


@pytest.mark.parametrize(("n", "m", "is_told"), [(3, 3, True), (2, 12, False), (12, 2, False), (0, 12, False)])
def test_fewer_than_three_shots_with_either_say_nothing(n: int, m: int, *, is_told: bool) -> None:
    found = attribute(shots_of(struck(OWN, n)), shots_of(struck(OTHER, m, 2)), FLOWN, USED)
    assert (found is not None) == is_told


def test_a_middle_shot_that_no_blow_explains_says_nothing() -> None:
    impossible = struck(OTHER).with_columns(pl.col("spin_rate_rpm") * 50)
    assert attribute(shots_of(struck(OWN)), shots_of(impossible), FLOWN, USED) is None


def test_the_same_shots_twice_bring_nothing_and_nothing_is_sayable() -> None:
    found = told(struck(OWN), struck(OWN))
    for gain in (*found.levers, found.attack_and_fit, found.modelled, found.unexplained):
        assert gain
        assert gain.gain_m == pytest.approx(0.0, abs=1e-9)
        assert gain.low_m < 0 < gain.high_m
        assert not gain.sayable
    assert found.measured_m == 0.0


def test_figures_sum_up_and_agree_with_the_comparison() -> None:
    base, final = struck(OWN), struck(OTHER, 9, 2)
    found = told(base, final)
    (compared,) = compare("carry_m", 0, base["used_carry_m"].to_numpy(), [(1, final["used_carry_m"].to_numpy())], 5.0)
    assert found.modelled
    assert found.unexplained
    assert found.attack_and_fit
    assert found.measured_m == pytest.approx(compared.difference)
    assert found.unexplained.gain_m == pytest.approx(compared.difference - found.modelled.gain_m)
    assert abs(found.unexplained.gain_m) < 1.0  # the same model flew them
    assert found.attack_and_fit.gain_m == pytest.approx(gains(found)["attack"] + gains(found)["fit"], abs=1e-9)


def test_large_changes_are_found_where_they_are() -> None:
    for place, lever, step in ((0, "club_speed", 3.0), (3, "strike", 0.08), (1, "attack", 4.0), (2, "fit", 5.0)):
        moved = list(OWN)
        moved[place] += step
        moved[2] += step if lever == "attack" else 0.0
        found = told(struck(OWN, 14), struck(moved, 14, 2), 5.0 if lever == "fit" else 0.0)
        (most,) = (gain for gain in found.levers if gain.lever == lever)
        assert most.sayable
        assert max(found.levers, key=lambda gain: abs(gain.gain_m)) is most


def test_the_range_shown_holds_four_times_in_five() -> None:
    """The same model flew the shots, so what is modelled is nearly the difference of the mean carries."""
    ratios = []
    for seed in range(0, 40, 2):
        base, final = struck(OWN, 12, seed), struck(OTHER, 12, seed + 1)
        whole = told(base, final).modelled
        assert whole
        half = welch(final["used_carry_m"].to_numpy(), base["used_carry_m"].to_numpy()).half_width(0.8)
        ratios.append((whole.high_m - whole.low_m) / (2 * half))
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.06)


def test_with_unknown_lofts_the_loft_follows_the_attack_by_1_give_or_take_a_half() -> None:
    still = [struck(OWN), struck(OTHER)]  # nearly without scatter: each shot a hundredth of the way from the mean
    near = [
        f.with_columns(pl.col(pl.Float64).mean() + (pl.col(pl.Float64) - pl.col(pl.Float64).mean()) / 100)
        for f in still
    ]
    found = told(near[0], near[1], None)
    pair = [middles(shots_of(f), np.arange(12)[None])[0] for f in near]
    mean, above = (
        shapley(FLOWN(struck_mixtures(pair[0], pair[1], np.array([follow]), None))[0, :, 0]) for follow in (1.0, 1.5)
    )
    assert list(gains(found).values()) == pytest.approx(mean.tolist(), abs=1e-9)
    for place in (2, 3):
        width = found.levers[place].high_m - found.levers[place].low_m
        assert width == pytest.approx(2 * 1.2816 * abs(above[place] - mean[place]), rel=0.15)


def test_swapped_sets_turn_the_signs() -> None:
    there, back = told(struck(OWN), struck(OTHER, 9, 2), 1.0), told(struck(OTHER, 9, 2), struck(OWN), -1.0)
    assert gains(there) == pytest.approx({name: -gain for name, gain in gains(back).items()}, abs=1e-9)


def test_unknown_lofts_widen_attack_and_fit_and_leave_the_rest() -> None:
    base, final = struck(OWN), struck(OTHER, 12, 2)
    known, unknown = (
        {gain.lever: gain.high_m - gain.low_m for gain in (*found.levers, found.attack_and_fit) if gain}
        for found in (told(base, final), told(base, final, None))
    )
    assert unknown["fit"] > 2 * known["fit"]
    assert unknown["attack"] > 1.2 * known["attack"]
    for name in ("club_speed", "strike"):
        assert unknown[name] == pytest.approx(known[name], rel=0.05)


def test_distances_nobody_knows_leave_measured_and_unexplained_out() -> None:
    found = told(struck(OWN).drop("used_carry_m"), struck(OTHER, 12, 2).drop("used_carry_m"))
    assert (found.measured_m, found.unexplained) == (None, None)
    assert found.modelled


def test_an_unread_spin_is_the_same_guess_in_both_sets() -> None:
    blank = [f.with_columns(spin_rate_rpm=pl.lit(0.0)) for f in (struck(OWN), struck(OWN, 12, 2))]
    found = told(blank[0], blank[1], None)
    assert found.modelled
    assert found.modelled.high_m - found.modelled.low_m < 15.0  # each alone is known to about 20 m


# --- the same shots, the same figures -----------------------------------------------------------------------------
def test_the_order_of_shots_does_not_matter() -> None:
    base, final = struck(OWN), struck(OTHER, 12, 2)
    assert told(base.reverse(), final.sample(fraction=1.0, shuffle=True, seed=4)) == told(base, final)


def test_other_units_before_reading_give_the_same_figures() -> None:
    base, final = struck(OWN), struck(OTHER, 12, 2)
    ulps = [f.with_columns(pl.col("ball_speed_mps", "club_speed_mps") / 0.44704 * 0.44704) for f in (base, final)]
    one, other = told(base, final), told(ulps[0], ulps[1])
    for a, b in zip(one.levers, other.levers, strict=True):
        assert [a.gain_m, a.low_m, a.high_m] == pytest.approx([b.gain_m, b.low_m, b.high_m], abs=1e-6)


def test_the_shots_seed_the_resamples_and_the_other_sets_do_not() -> None:
    frames = [struck(OWN), struck(OTHER, 12, 2), struck(OTHER, 12, 3)]
    few, many = visit(*frames[:2]), visit(*frames)
    assert levers(*few).from_own[0] == levers(*many).from_own[0] == levers(*few).from_own[0]


# --- a visit ------------------------------------------------------------------------------------------------------
def visit(
    *frames: pl.DataFrame,
    lofts: Sequence[float | None] = (),
    kinds: Sequence[str | None] = (),
) -> tuple[list[ShotSet], pl.DataFrame, list[Fate]]:
    sets = [
        ShotSet(
            i,
            "ABCDEF"[i],
            f"club {i}",
            "",
            Build(f"club {i}", kinds[i] if kinds else "driver", loft_deg=lofts[i] if lofts else None),
            i == 0,
        )
        for i in range(len(frames))
    ]
    frame = pl.concat([f.with_columns(pl.lit(i, pl.Int64).alias("set")) for i, f in enumerate(frames)])
    return sets, frame, [Fate("counted")] * frame.height


def pairs(stories: Sequence[LeverStory]) -> list[tuple[int, int]]:
    return [(story.against, story.build) for story in stories]


def test_each_set_is_told_over_the_own_club_and_over_the_one_before() -> None:
    found = levers(*visit(struck(OWN), struck(OTHER, 12, 2), struck(OWN, 9, 3), struck(OTHER, 8, 4)))
    assert pairs(found.from_own) == [(0, 1), (0, 2), (0, 3)]
    assert pairs(found.steps) == [(0, 1), (1, 2), (2, 3)]
    assert found.steps[0] is found.from_own[0]
    assert [(s.against_shots, s.shots) for s in found.steps] == [(12, 12), (12, 9), (9, 8)]


def test_what_the_steps_model_sums_to_what_the_whole_way_does() -> None:
    found = levers(*visit(struck(OWN), struck(OTHER, 12, 2), struck(OWN, 9, 3)))
    steps = [s.carry.modelled.gain_m for s in found.steps if s.carry.modelled]
    assert found.from_own[-1].carry.modelled
    assert sum(steps) == pytest.approx(found.from_own[-1].carry.modelled.gain_m, abs=1e-9)


def test_sets_of_another_job_and_sets_of_few_shots_are_passed_over() -> None:
    frames = struck(OWN), struck(OTHER, 2, 2), struck(OTHER, 9, 3), struck(OWN, 9, 4)
    found = levers(*visit(*frames, kinds=("driver", "driver", "iron", "driver")))
    assert pairs(found.from_own) == [(0, 3)]
    assert pairs(found.steps) == [(0, 3)]


def test_an_own_club_of_few_shots_leaves_the_steps_of_the_others() -> None:
    found = levers(*visit(struck(OWN, 2), struck(OTHER, 9, 2), struck(OWN, 9, 3)))
    assert found.from_own == ()
    assert pairs(found.steps) == [(1, 2)]


def test_an_own_club_alone_has_no_story() -> None:
    found = levers(*visit(struck(OWN)))
    assert (found.from_own, found.steps) == ((), ())


def test_only_shots_that_count_are_told_of() -> None:
    sets, frame, _ = visit(struck(OWN), struck(OTHER, 12, 2))
    fates = [Fate("mishit" if i in (0, 14) else "bad_read" if i == 1 else "asked") for i in range(24)]
    (story,) = levers(sets, frame, fates).from_own
    assert (story.against_shots, story.shots) == (10, 11)
    assert story.carry.measured_m == pytest.approx(
        frame["used_carry_m"].gather([12, 13, *range(15, 24)]).mean() - frame["used_carry_m"][2:12].mean()  # type: ignore[operator]  # polars types a mean widely
    )


@pytest.mark.parametrize(
    ("lofts", "together"), [((10.5, 9.5), False), ((10.5, None), True), ((None, 9.5), True), ((None, None), True)]
)
def test_attack_and_fit_part_only_where_both_lofts_are_known(
    lofts: tuple[float | None, float | None], *, together: bool
) -> None:
    base, final = struck(OWN), struck(OTHER, 12, 2)
    (story,) = levers(*visit(base, final, lofts=lofts)).from_own
    assert story.together_only == together
    assert story.carry == told(base, final, None if together else -1.0)


def test_without_an_attack_angle_there_is_nothing_to_print_together() -> None:
    frames = [f.with_columns(attack_angle_deg=pl.lit(None, pl.Float64)) for f in (struck(OWN), struck(OTHER, 12, 2))]
    (story,) = levers(*visit(*frames)).from_own
    assert (story.tier, story.together_only, story.undetermined) == ("no_attack", False, "")


def test_the_lever_nothing_can_be_said_of_is_named() -> None:
    blank = {name: pl.lit(None, pl.Float64) for name in ("attack_angle_deg", "spin_rate_rpm")}
    (story,) = levers(*visit(*(struck(OWN, 12, seed).with_columns(**blank) for seed in (1, 2)))).from_own
    assert (story.tier, story.undetermined) == ("no_attack_no_spin", "launch_and_spin")


@pytest.mark.parametrize(
    ("files", "days", "warned"),
    [
        (("a.csv", "a.csv"), (None, None), ()),
        (("a.csv", "b.csv"), (None, None), ("different_files",)),
        (("a.csv", "a.csv"), ("2026-03-01T10:00:00", "2026-03-01T11:00:00"), ()),
        (("a.csv", "a.csv"), ("2026-03-01T10:00:00", "2026-03-02T10:00:00"), ("different_days",)),
        (("a.csv", "b.csv"), ("2026-03-01", "2026-03-02"), ("different_files", "different_days")),
        (("a.csv", "a.csv"), ("2026-03-01", None), ()),
    ],
)
def test_sets_of_different_files_or_days_are_warned_of(
    files: tuple[str, str], days: tuple[str | None, str | None], warned: tuple[str, ...]
) -> None:
    frames = [
        struck(OWN, 12, seed, file=[file] * 12, time=[day] * 12)
        for seed, (file, day) in enumerate(zip(files, days, strict=True))
    ]
    (story,) = levers(*visit(*frames)).from_own
    assert story.warnings == warned


def test_sets_that_share_a_file_are_not_warned_of() -> None:
    frames = struck(OWN, 4, 1, file=["a.csv", "a.csv", "b.csv", "b.csv"]), struck(OTHER, 4, 2, file=["b.csv"] * 4)
    assert levers(*visit(*frames)).steps[0].warnings == ()


@pytest.mark.parametrize("kind", [None, "putter", "iron"])
def test_any_kind_of_club_is_told_of(kind: str | None) -> None:
    blank = {"spin_rate_rpm": pl.lit(None, pl.Float64)}
    frames = [struck(OWN, 12, seed).with_columns(**blank) for seed in (1, 2)]
    (story,) = levers(*visit(*frames, kinds=(kind, kind))).from_own
    assert story.tier == "no_spin"


def test_a_ball_that_does_not_fly_leaves_the_other_stories() -> None:
    topped = struck(OTHER, 12, 2).with_columns(pl.col("ball_speed_mps") * 3)
    found = levers(*visit(struck(OWN), topped, struck(OTHER, 12, 3)))
    assert pairs(found.from_own) == [(0, 2)]
