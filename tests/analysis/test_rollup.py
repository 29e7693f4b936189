"""The manager's roll-up as a whole: what is shown, what is withheld and why, and what must not change it."""

import math
from collections.abc import Sequence
from dataclasses import astuple, replace
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analysis.rollup import roll_up
from pipeline.analysis.rollup_cells import cells_of, checked, components, moderated
from pipeline.rollup_records import CategoryRollUp, ModelRow, RollUpRules

Row = dict[str, Any]


def piece(customer: int, model: str, mean: float, n: int = 8, sd: float = 6.0, **keys: Any) -> Row:  # noqa: ANN401
    """Make the sums of n shots with exactly this mean and spread."""
    plain = {
        "customer": f"c{customer}", "model": model, "category": "driver", "loft": "10.5", "shaft": "S",
        "period": "2026-05", "studio": "s1", "own": False, "speed_mps": 45.0, "sitting": keys.get("period", "2026-05"),
    }  # fmt: skip
    return {**plain, "n": n, "total": n * mean, "squares": n * mean**2 + (n - 1) * sd**2, **keys}


def tried(customers: Sequence[int], models: dict[str, float], seed: int = 1, **keys: Any) -> list[Row]:  # noqa: ANN401
    """Let each customer hit each model; a model's value is what it gives, customers and luck differ."""
    generator = np.random.default_rng(seed)
    return [
        piece(i, model, 180 + 7 * (i % 9) + effect + 2 * generator.standard_normal(), **keys)
        for i in customers
        for model, effect in models.items()
    ]


def rolled(rows: list[Row], rules: RollUpRules | None = None) -> CategoryRollUp:
    (found,) = roll_up(pl.DataFrame(rows), rules)
    return found


def row_of(found: CategoryRollUp, model: str) -> ModelRow:
    return next(row for row in found.models if row.effect.model == model)


def withheld(found: CategoryRollUp) -> dict[str, str]:
    return {one.model: one.reason for one in found.withheld}


# --- what comes out -----------------------------------------------------------------------------------------------
def test_models_stand_in_order_with_verdict_and_place() -> None:
    found = rolled(tried(range(30), {"A": 12.0, "B": 0.0, "C": 0.5, "D": -12.0}))
    assert [row.effect.model for row in found.models][0::3] == ["A", "D"]
    effect = {row.effect.model: row.effect for row in found.models}
    assert (effect["A"].verdict, effect["D"].verdict) == ("better", "worse")
    assert (effect["B"].verdict, effect["C"].verdict) == ("average", "average")
    assert effect["A"].effect == pytest.approx(11.9, abs=1.0)
    assert sum(one.effect for one in effect.values()) == pytest.approx(0, abs=1e-9)
    assert [(effect[name].rank_low, effect[name].rank_high) for name in "ABD"] == [(1, 1), (2, 3), (4, 4)]
    assert {one.ranked for one in effect.values()} == {4}
    assert (found.customers, found.shots) == (30, 960)
    assert found.shot_sd == pytest.approx(6.0)
    assert found.components == (("A", "B", "C", "D"),)
    a = row_of(found, "A")
    assert (a.customers, a.own_customers, a.shots, a.studios) == (30, 0, 240, 1)
    assert (a.first_period, a.last_period, a.gains, a.caveats) == ("2026-05", "2026-05", None, ())


def test_wide_intervals_settle_nothing() -> None:
    found = rolled(tried(range(5), {"A": 1.0, "B": 0.0}, sd=30.0))
    assert {row.effect.verdict for row in found.models} == {"not_settled"}
    assert all(row.effect.rank_low is None and row.effect.ranked == 0 for row in found.models)


def test_places_are_for_models_enough_is_known_of() -> None:
    """D has seven customers; with 3 yd wanted instead of 5 no interval is narrow enough."""
    rows = tried(range(20), {"A": 6.0, "B": 0.0, "C": -6.0}) + tried(range(20, 27), {"A": 6.0, "D": 0.0})
    found = rolled(rows)
    assert {row.effect.model: row.effect.ranked for row in found.models} == {"A": 3, "B": 3, "C": 3, "D": 0}
    assert row_of(found, "D").effect.rank_low is None
    width = {row.effect.model: row.effect.high - row.effect.low for row in found.models if row.effect.ranked}
    widest = max(width, key=width.__getitem__)
    narrower = rolled(rows, RollUpRules(rank_half_width=width[widest] / 2 * 0.999))
    assert row_of(narrower, widest).effect.ranked == 0
    assert row_of(rolled(rows, RollUpRules(rank_half_width=width[widest] / 2)), widest).effect.ranked == 3
    assert rolled(rows, RollUpRules(rank_customers=7)).models[0].effect.ranked == 4


def test_each_category_is_a_world_of_its_own() -> None:
    drivers = tried(range(6), {"A": 5.0, "B": 0.0})
    irons = tried(range(6), {"A": 0.0, "C": 5.0}, category="iron")
    found = roll_up(pl.DataFrame(irons + drivers))
    assert [one.category for one in found] == ["driver", "iron"]
    assert replace(found[0], category="") == replace(rolled(drivers), category="")


def test_a_category_whose_luck_is_unknown_is_left_out() -> None:
    singles = [piece(i, model, 200.0 + i, n=1) for i in range(6) for model in "AB"]
    assert roll_up(pl.DataFrame(singles)) == ()
    assert roll_up(pl.DataFrame(tried(range(6), {"A": 0.0, "B": 1.0}, sd=0.0))) == ()


def test_the_first_and_last_period_and_old_data() -> None:
    rows = tried(range(10), {"A": 0.0, "B": 1.0}, period="2024-02") + tried(range(10, 20), {"B": 1.0, "C": 0.0})
    found = rolled(rows, RollUpRules(old_before="2026-01"))
    assert [row.caveats for row in map(lambda name: row_of(found, name), "ABC")] == [("old_data",), (), ()]  # noqa: C417
    b = row_of(found, "B")
    assert (b.first_period, b.last_period) == ("2024-02", "2026-05")
    assert row_of(rolled(rows), "A").caveats == ()
    assert row_of(rolled(rows, RollUpRules(old_before="2024-02")), "A").caveats == ()


# --- minimums and links -------------------------------------------------------------------------------------------
def test_a_model_needs_so_many_customers_who_compared_it() -> None:
    rows = tried(range(12), {"A": 0.0, "B": 3.0}) + tried(range(5), {"C": 1.0}) + tried(range(4), {"D": 9.0})
    found = rolled([*rows, *[piece(100 + i, "D", 230.0) for i in range(30)]])
    assert {row.effect.model: row.effect.compared for row in found.models} == {"A": 12, "B": 12, "C": 5}
    (d,) = found.withheld
    assert astuple(d) == ("D", "few_customers", 34, 4, 34 * 8, 1)
    assert withheld(rolled(rows, RollUpRules(fewest_customers=6))) == {"C": "few_customers", "D": "few_customers"}


def test_a_customer_who_comes_again_is_one_customer() -> None:
    rows = tried(range(12), {"A": 0.0, "B": 3.0}) + tried(range(3), {"A": 0.0, "C": 1.0})
    again = rows + tried(range(3), {"A": 0.0, "C": 1.0}, period="2026-07")
    assert withheld(rolled(again)) == {"C": "few_customers"}


def test_models_hit_in_different_sittings_are_not_linked() -> None:
    """The same customers hit A and B in May and C and D in July; what changed between is theirs, not the clubs'."""
    rows = tried(range(12), {"A": 5.0, "B": 0.0}) + tried(
        range(12), {"C": 50.0, "D": 49.0, "E": 48.0}, period="2026-07"
    )
    found = rolled(rows)
    assert found.components == (("C", "D", "E"), ("A", "B"))
    assert [row.component for row in found.models] == [0, 0, 0, 1, 1]
    assert all(abs(row.effect.effect) < 5 for row in found.models)
    assert row_of(found, "A").caveats == ("not_connected",)
    assert row_of(found, "C").caveats == ()
    assert [row.effect.ranked for row in found.models] == [3, 3, 3, 2, 2]


def test_what_nobody_hit_beside_another_is_withheld() -> None:
    alone = [piece(50 + i, "lonely", 300.0) for i in range(20)]
    thin = tried(range(20, 22), {"X": 0.0, "Y": 0.0})
    found = rolled(tried(range(12), {"A": 0.0, "B": 3.0}) + alone + thin)
    assert withheld(found) == {"lonely": "not_connected", "X": "few_customers", "Y": "few_customers"}
    assert found.components == (("A", "B"), ("X", "Y"))


def test_the_component_with_the_most_to_show_comes_first() -> None:
    rows = tried(range(4), {"P": 0.0, "Q": 0.0, "R": 0.0}) + tried(range(20, 30), {"Y": 0.0, "Z": 0.0})
    found = rolled(rows)
    assert found.components == (("Y", "Z"), ("P", "Q", "R"))
    assert [row.component for row in found.models] == [0, 0]


def test_a_model_whose_only_partners_are_too_thin_is_compared_with_nothing() -> None:
    rows = tried(range(3), {"A": 0.0, "B": 0.0}) + tried(range(3, 6), {"A": 0.0, "C": 0.0})
    assert withheld(rolled(rows)) == {"A": "not_connected", "B": "few_customers", "C": "few_customers"}


def test_two_visits_in_one_month_are_two_sittings() -> None:
    """The customers hit A and B on one day and C and D on another, 40 m farther for all."""
    rows = tried(range(12), {"A": 5.0, "B": 0.0}, sitting="one")
    rows += tried(range(12), {"C": 45.0, "D": 40.0}, sitting="other")
    found = rolled(rows)
    assert found.components == (("A", "B"), ("C", "D"))
    assert all(abs(row.effect.effect) < 4 for row in found.models)
    together = rolled([{**row, "sitting": "one"} for row in rows])
    assert together.components == (("A", "B", "C", "D"),)


# --- what one customer alone hit ----------------------------------------------------------------------------------
def words_of(found: CategoryRollUp) -> str:
    return repr(found)


def test_what_one_customer_alone_hit_is_never_named() -> None:
    """Labels may hold a name. They stand together; their customers are counted once, theirs with two labels too."""
    rows = tried(range(12), {"A": 0.0, "B": 3.0}, speed_mps=None)
    rows += tried([3], {"Alex Doe's": 1.0, "Alex Doe's old": 2.0}) + tried([4], {"Sam Doe's": 1.0}, own=True)
    rows += [piece(60, "Kim Doe's", 200.0, n=5)]
    found = rolled(rows)
    assert "Doe" not in words_of(found)
    assert [astuple(one) for one in found.withheld] == [("", "few_customers", 3, 2, 29, 4)]
    assert found.components == (("A", "B"),)


def test_what_two_customers_hit_is_named() -> None:
    rows = tried(range(12), {"A": 0.0, "B": 3.0}) + tried([3, 4], {"rare": 1.0})
    assert [astuple(one) for one in rolled(rows).withheld] == [("rare", "few_customers", 2, 2, 16, 1)]


def test_models_linked_by_one_customer_alone_are_no_component_without_names() -> None:
    rows = tried(range(12), {"A": 0.0, "B": 3.0}) + tried([50], {"X": 0.0, "Y": 0.0, "Z": 0.0})
    assert rolled(rows).components == (("A", "B"),)


def test_no_rule_may_show_what_one_customer_hit() -> None:
    rows = pl.DataFrame(tried(range(12), {"A": 0.0, "B": 3.0}))
    with pytest.raises(ValueError, match="fewer than 2 customers"):
        roll_up(rows, RollUpRules(fewest_customers=1))
    assert roll_up(rows, RollUpRules(fewest_customers=2))


def test_bands_and_parts_name_nobody_either() -> None:
    rows = by_speed() + tried([5, 30], {"rare": 0.0}, speed_mps=40.0)
    rows = [{**row, "shaft": "Pat's"} if row["customer"] == "c0" and row["model"] == "A" else row for row in rows]
    found = rolled(rows)
    assert "Pat" not in words_of(found)
    parts = [(p.value, p.thin, p.customers, p.reason) for p in row_of(found, "A").parts if p.kind == "shaft"]
    assert parts == [("S", False, 35, "shown"), ("1", True, 1, "few_customers")]
    assert len(found.bands) == 3
    assert all(one.customers > 1 or not one.model for band in found.bands for one in band.withheld)
    assert [one.models for band in found.bands for one in band.withheld if not one.model] == [1, 1]


# --- clubs of which nobody said the model -------------------------------------------------------------------------
def unknown_own(customers: Sequence[int], **keys: Any) -> list[Row]:  # noqa: ANN401
    return [piece(i, "", 150.0 + 7 * (i % 9), own=True, loft=None, shaft=None, **keys) for i in customers]


def test_own_clubs_of_unknown_model_link_nothing() -> None:
    """A was hit beside such clubs only, and so was B: one model in both would compare A with B."""
    rows = tried(range(12), {"A": 0.0}) + tried(range(12, 24), {"B": 9.0}) + unknown_own(range(24))
    found = rolled(rows)
    assert found.models == ()
    assert found.components == ()
    assert withheld(found) == {"A": "not_connected", "B": "not_connected"}
    assert [one.compared for one in found.withheld] == [0, 0]


def test_two_groups_are_not_compared_through_own_clubs_of_unknown_model() -> None:
    rows = tried(range(12), {"A": 0.0, "B": 2.0}) + tried(range(12, 24), {"C": 30.0, "D": 32.0})
    alone, found = rolled(rows), rolled(rows + unknown_own(range(24)))
    assert found.components == alone.components == (("A", "B"), ("C", "D"))
    assert all(abs(row.effect.effect) < 3 for row in found.models)
    assert numbers(found) == pytest.approx(numbers(alone), abs=1e-9)


def test_an_own_club_of_unknown_model_is_no_model_withheld() -> None:
    rows = tried(range(12), {"A": 0.0, "B": 2.0}) + unknown_own([3])
    assert rolled(rows).withheld == ()
    assert rolled(rows + unknown_own(range(4, 12))).withheld == ()


def test_gains_are_over_own_clubs_of_unknown_model_too() -> None:
    rows = [piece(i, "A", 156.0 + 7 * (i % 9) + i % 2) for i in range(12)] + tried(range(12), {"B": 0.0})
    found = rolled(rows + unknown_own(range(12)))
    gains = row_of(found, "A").gains
    assert gains is not None
    assert gains.customers == 12
    assert gains.mean == pytest.approx(6.5, abs=0.1)
    parts = [part.gains for part in row_of(found, "A").parts if part.kind == "loft"]
    assert [one.mean for one in parts if one] == pytest.approx([gains.mean])
    assert row_of(found, "A").customers == 12


def test_other_clubs_of_unknown_model_are_only_counted() -> None:
    """They are 60 m longer; one visit has nothing else beside its own club."""
    rows = tried(range(12), {"A": 0.0, "B": 2.0}) + unknown_own([0, 40])
    more = rows + [piece(i, "", 260.0, n=5 + i % 2) for i in (0, 1, 40)]
    alone, found = rolled(rows), rolled(more)
    assert found.unnamed_shots == 16
    assert replace(found, unnamed_shots=0) == alone
    assert roll_up(pl.DataFrame([piece(i, "", 260.0) for i in range(9)])) == ()


# --- own clubs ----------------------------------------------------------------------------------------------------
def owners(customers: Sequence[int], own: str, tested: dict[str, float], loss: float = 8.0) -> list[Row]:
    rows = tried(customers, tested, seed=customers[0] + 1)
    return rows + [
        piece(i, own, 180 + 7 * (i % 9) + tested.get(own, 0.0) - loss, own=True, loft=None, shaft=None)
        for i in customers
    ]


def test_that_own_clubs_are_shorter_is_no_fault_of_the_model_they_are() -> None:
    """A is owned by half of the customers and as good as B; with the own-club effect left in it would be 4 m worse."""
    rows = owners(range(20), "A", {"B": 0.0, "C": 0.0}) + owners(range(20, 40), "old", {"A": 0.0, "B": 0.0, "C": 0.0})
    found = rolled(rows)
    assert row_of(found, "A").effect.effect == pytest.approx(0, abs=1.0)
    assert withheld(found) == {"old": "only_own_clubs"}
    assert row_of(found, "A").own_customers == 20
    assert row_of(found, "A").caveats == ()


def test_mostly_own_clubs_is_said() -> None:
    rows = owners(range(20), "A", {"B": 0.0, "C": 0.0}) + owners(range(20, 30), "old", {"A": 0.0, "B": 0.0})
    assert row_of(rolled(rows), "A").caveats == ("mostly_own_clubs",)


def test_gains_are_over_the_own_club_and_need_so_many_customers() -> None:
    rows = owners(range(12), "old", {"A": 4.0, "B": 0.0}) + owners(range(12, 16), "old", {"A": 0.0, "C": 0.0})
    rows += tried(range(20, 26), {"A": 0.0, "C": 0.0})
    found = rolled(rows)
    a, c = row_of(found, "A").gains, row_of(found, "C").gains
    assert a is not None
    assert a.customers == 16
    assert a.improved.count == 16
    assert a.mean == pytest.approx(8 + 3, abs=1.0)
    assert c is None


# --- breakdown ----------------------------------------------------------------------------------------------------
def test_lofts_and_shafts_too_thin_are_put_together_or_withheld() -> None:
    base = owners(range(24), "old", {"A": 0.0, "B": 0.0})
    loft = {f"c{i}": "9" if i < 10 else "10.5" if i < 18 else "12" if i < 21 else "8" for i in range(24)}
    shaft = {f"c{i}": "S" if i < 20 else "R" for i in range(24)}
    rows = [
        {**row, "loft": loft[row["customer"]], "shaft": shaft[row["customer"]]} if row["model"] == "A" else row
        for row in base
    ]
    parts = row_of(rolled(rows), "A").parts
    assert [(p.kind, p.value, p.thin, p.customers, p.shots, p.reason) for p in parts] == [
        ("loft", "9", False, 10, 80, "shown"),
        ("loft", "10.5", False, 8, 64, "shown"),
        ("loft", "2", True, 6, 48, "shown"),
        ("shaft", "S", False, 20, 160, "shown"),
        ("shaft", "R", False, 4, 32, "few_customers"),
    ]
    assert [p.gains.customers if p.gains else 0 for p in parts] == [10, 8, 6, 20, 0]


def test_lofts_nobody_stated_make_no_breakdown() -> None:
    found = rolled([{**row, "loft": None} for row in tried(range(12), {"A": 0.0, "B": 0.0})])
    assert {part.kind for part in row_of(found, "A").parts} == {"shaft"}


# --- speed --------------------------------------------------------------------------------------------------------
def by_speed() -> list[Row]:
    """Thirty-six customers, a third of each speed; B gives the fast 14 and the others nothing; C is hit by the fast."""
    rows = []
    for k, speed in enumerate((38.0, 44.0, 50.0)):
        models = {"A": 0.0, "B": 14.0 if k == 2 else 0.0, "D": 0.0} | ({"C": 0.0} if k == 2 else {})
        for i in range(12 * k, 12 * k + 12):
            rows += tried([i], models, seed=i, speed_mps=speed + 0.01 * i)
    return rows


def test_a_model_for_fast_players_is_seen_in_their_band() -> None:
    found = rolled(by_speed())
    assert [(band.name, band.customers) for band in found.bands] == [("slow", 12), ("medium", 12), ("fast", 12)]
    b = [next(one for one in band.models if one.model == "B") for band in found.bands]
    assert [one.verdict == "better" for one in b] == [False, False, True]
    assert b[2].effect > 8
    assert found.bands[0].from_mps == -math.inf
    assert found.bands[0].below_mps == found.bands[1].from_mps
    assert 38.2 < found.bands[1].from_mps < 44.2 < found.bands[2].from_mps < 50.3
    assert [row.caveats for row in found.models if row.effect.model == "C"] == [("only_fast",)]
    assert all("only_fast" not in row.caveats for row in found.models if row.effect.model != "C")
    assert {one.model for band in found.bands[:2] for one in band.models} == {"A", "B", "D"}


def test_a_customers_speed_is_that_of_all_shots() -> None:
    """Customer 0 has 24 shots at 40 m/s and 8 at 60: 45, the middle of all."""
    rows = [{**row, "speed_mps": 30.0 + int(row["customer"][1:])} for row in tried(range(31), {"A": 0.0, "B": 1.0})]
    mixed = [piece(0, "A", 200.0, 24, speed_mps=40.0), piece(0, "B", 200.0, 8, speed_mps=60.0)]
    bands = rolled([row for row in rows if row["customer"] not in {"c0", "c15"}] + mixed).bands
    speeds = sorted([*(30.0 + i for i in range(1, 31) if i != 15), 45.0])
    assert [bands[0].below_mps, bands[1].below_mps] == pytest.approx(np.quantile(speeds, (1 / 3, 2 / 3)).tolist())
    assert [band.customers for band in bands] == [10, 10, 10]


def test_no_bands_without_enough_customers_of_known_speed() -> None:
    rows = by_speed()
    known = [{**row, "speed_mps": row["speed_mps"] if int(row["customer"][1:]) < 14 else None} for row in rows]
    assert rolled(known).bands == ()
    assert rolled([{**row, "speed_mps": 45.0} for row in rows]).bands == ()


def test_few_customers_and_one_studio_are_said() -> None:
    rows = tried(range(7), {"A": 0.0, "B": 0.0}) + tried(range(7, 20), {"B": 0.0, "C": 0.0}, studio="s2")
    found = rolled(rows)
    assert [(row_of(found, name).caveats) for name in "ABC"] == [("few_customers", "one_studio"), (), ("one_studio",)]
    thin = rolled(tried(range(9), {"A": 0.0, "B": 0.0}, n=4))
    assert row_of(thin, "A").caveats == ("few_customers",)
    assert row_of(rolled(tried(range(10), {"A": 0.0, "B": 0.0}, n=4)), "A").caveats == ()


# --- what must not matter, and what must --------------------------------------------------------------------------
def numbers(found: CategoryRollUp) -> list[float]:
    return [
        value
        for row in found.models
        for value in (row.effect.effect, row.effect.low, row.effect.high, row.effect.compared)
    ]


seasons = st.integers(0, 10_000)


def season(seed: int) -> list[Row]:
    """Make a small season: own clubs, uneven trying, uneven golfers."""
    generator = np.random.default_rng(seed)
    rows = []
    for i in range(14):
        level, sd = generator.normal(200, 20), generator.uniform(4, 10)
        hit = generator.choice(5, size=3, replace=False)
        keys: Row = {"speed_mps": level / 4.4, "sd": sd}
        rows += [
            piece(i, f"M{j}", level + j + generator.normal(0, 3), int(generator.integers(3, 11)), **keys) for j in hit
        ]
        rows.append(piece(i, f"old{i % 5}", level - 6, own=True, **keys))
    return rows


@settings(max_examples=5)
@given(seasons, st.randoms(use_true_random=False))
def test_the_order_of_the_rows_is_nothing(seed: int, random: Any) -> None:  # noqa: ANN401
    rows = season(seed)
    shuffled = random.sample(rows, len(rows))
    assert roll_up(pl.DataFrame(shuffled)) == roll_up(pl.DataFrame(rows))


@settings(max_examples=5)
@given(seasons, st.integers(0, 13), st.floats(-80, 80))
def test_a_better_player_changes_no_effect(seed: int, who: int, better: float) -> None:
    rows = season(seed)
    moved = [
        {**row, "total": row["total"] + row["n"] * better,
         "squares": row["squares"] + 2 * better * row["total"] + row["n"] * better**2}
        if row["customer"] == f"c{who}" else row
        for row in rows
    ]  # fmt: skip
    assert numbers(rolled(moved)) == pytest.approx(numbers(rolled(rows)), abs=1e-5)


@settings(max_examples=5)
@given(seasons, st.sampled_from([1 / 0.9144, 1e-3, 250.0]))
def test_another_unit_changes_nothing_else(seed: int, factor: float) -> None:
    rows, rules = season(seed), RollUpRules()
    scaled = [{**row, "total": row["total"] * factor, "squares": row["squares"] * factor**2} for row in rows]
    widths = replace(rules, worth=rules.worth * factor, rank_half_width=rules.rank_half_width * factor)
    one, other = rolled(rows), rolled(scaled, widths)
    for a, b in zip(one.models, other.models, strict=True):
        assert (b.effect.effect, b.effect.low, b.effect.high) == pytest.approx(
            tuple(factor * value for value in (a.effect.effect, a.effect.low, a.effect.high)),
            rel=1e-5,
            abs=1e-5 * factor,
        )
        assert (b.effect.verdict, b.effect.rank_low, b.effect.rank_high) == (
            a.effect.verdict, a.effect.rank_low, a.effect.rank_high
        )  # fmt: skip


@settings(max_examples=5)
@given(seasons, st.integers(2, 30))
def test_a_model_nobody_links_changes_no_other(seed: int, customers: int) -> None:
    rows = season(seed)
    more = rows + [piece(200 + i, "lonely", 260.0 + i, sd=6.0) for i in range(customers)]
    one, other = rolled(rows), rolled(more)
    assert "lonely" in withheld(other)
    assert "lonely" not in {row.effect.model for row in other.models}
    # the spread of shots is learnt from all, so the weights move a little
    assert [row.effect.effect for row in other.models] == pytest.approx(
        [row.effect.effect for row in one.models], abs=0.4
    )


@settings(max_examples=3)
@given(seasons)
def test_as_many_customers_again_narrow_the_intervals(seed: int) -> None:
    rows = season(seed)
    twice = rows + [{**row, "customer": row["customer"] + " again"} for row in rows]
    one, other = rolled(rows), rolled(twice)
    for row in one.models:
        again = row_of(other, row.effect.model).effect
        assert again.compared == 2 * row.effect.compared
        assert again.high - again.low < row.effect.high - row.effect.low


# --- the pieces ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "wrong",
    [
        {"n": 0},
        {"n": None},
        {"total": math.inf},
        {"squares": math.nan},
        {"customer": None},
        {"model": None},
        {"own": None},
    ],
)
def test_pieces_no_sum_can_be_are_refused(wrong: Row) -> None:
    rows = [*tried(range(6), {"A": 0.0, "B": 0.0}), piece(1, "A", 200.0) | wrong]
    with pytest.raises(ValueError, match="1 pieces of the roll-up"):
        roll_up(pl.DataFrame(rows, infer_schema_length=None))


def test_a_missing_column_is_named() -> None:
    with pytest.raises(ValueError, match="lacks the columns squares"):
        roll_up(pl.DataFrame(tried(range(6), {"A": 0.0})).drop("squares"))


def test_cells_put_lofts_together_shot_by_shot_and_their_spread_stays_within() -> None:
    rows = [piece(0, "A", 200.0, 4, loft="9"), piece(0, "A", 230.0, 12, loft="12"), piece(0, "A", 100.0, 5, own=True)]
    cells = cells_of(checked(pl.DataFrame(rows)))
    assert cells.own.tolist() == [False, True]
    assert cells.n.tolist() == [16, 5]
    assert cells.mean.tolist() == pytest.approx([222.5, 100.0])
    assert cells.noise.tolist() == pytest.approx([36 / 16, 36 / 5])
    assert components(cells).tolist() == [0]


def test_spreads_are_judged_by_the_customer_as_far_as_they_are_known() -> None:
    """Golfers whose variances scatter as the method assumes: its estimate must be nearer than own and pooled."""
    generator = np.random.default_rng(6)
    true = 64 * 10 / generator.chisquare(10, 800)
    freedom = generator.integers(6, 40, 800).astype(np.float64)
    squares = true * generator.chisquare(freedom)
    found, behind, pooled = moderated(freedom, squares)
    off = [np.abs(np.log(guess / true)).mean() for guess in (found, squares / freedom, np.full(800, pooled))]
    assert off[0] < 0.85 * min(off[1:])
    assert (behind - freedom).mean() == pytest.approx(10, rel=0.25)
    assert np.mean(found / true) == pytest.approx(1, abs=0.08)


def test_golfers_alike_all_get_the_pooled_spread() -> None:
    freedom = np.full(300, 12.0)
    squares = 49 * np.random.default_rng(2).chisquare(freedom)
    found, behind, pooled = moderated(freedom, squares)
    assert pooled == pytest.approx(squares.sum() / 3600)
    assert found == pytest.approx(np.full(300, pooled), rel=0.1)
    assert behind.min() > 100
