"""The sums over shots against sums of plain Python integers, and the room that 64 bits leave them."""

from collections import Counter
from typing import Any

import narwhals.stable.v2 as nw
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import shot_archive
from pipeline.shot_sums import BIN_CM, CARRIES, CARRY, CARRY_KEYS, COLUMNS, SPEEDS, SUM_KEYS, SUMS, Kind, moments
from tests.invented_archive import PLAIN, Row, frame

MOST = shot_archive.MOST_STEPS
steps = st.none() | st.integers(-MOST, MOST) | st.sampled_from([-MOST, MOST, -1, 0, 49, 50, -50, -51])
shots = st.fixed_dictionaries(
    {
        "studio": st.sampled_from(["s1", "s2"]),
        "month": st.sampled_from(["2026-05", "2026-06"]),
        "customer": st.integers(1, 2) | st.just(2**63 - 1),
        "visit": st.integers(1, 3),
        "job": st.sampled_from(["driver", "iron 7"]),
        "model": st.sampled_from(["", "A", "a"]),
        "loft_cdeg": st.sampled_from([None, 900, 1050]),
        "shaft": st.sampled_from(["", "S"]),
        "own": st.booleans(),
        "compares": st.booleans(),
        "fate": st.sampled_from(["counted", "counted", "mishit", "bad_read", "asked"]),
        CARRY: steps,
        SPEEDS[0]: steps,
        SPEEDS[1]: steps,
    }
)


def run(kind: Kind, rows: list[Row], gone: tuple[int, ...] = ()) -> pl.DataFrame:
    shot_rows = nw.from_native(frame(rows).lazy().select(COLUMNS))
    return kind.summed(shot_rows, gone).to_native().collect(engine="streaming")  # type: ignore[no-any-return]


def kept(rows: list[Row], gone: tuple[int, ...]) -> list[Row]:
    whole = [{**PLAIN, **row} for row in rows]
    return [
        row
        for row in whole
        if row["fate"] in ("counted", "asked")
        and (row["compares"] and row[CARRY] is not None and row["visit"] not in gone)
    ]


def sums_in_python(rows: list[Row], gone: tuple[int, ...]) -> dict[tuple[Any, ...], list[int]]:
    found: dict[tuple[Any, ...], list[int]] = {}
    for row in kept(rows, gone):
        held = found.setdefault(tuple(row[key] for key in SUM_KEYS), [0] * 7)
        said = [row[name] for name in SPEEDS]
        more = [1, row[CARRY], row[CARRY] ** 2, *(x for value in said for x in (value is not None, value or 0))]
        held[:] = [a + int(b) for a, b in zip(held, more, strict=True)]
    return found


SUMMED = [f"n_{CARRY}", f"sum_{CARRY}", f"squares_{CARRY}", *(f"{what}_{x}" for x in SPEEDS for what in ("n", "sum"))]


def as_dict(found: pl.DataFrame, keys: tuple[str, ...], values: list[str]) -> dict[tuple[Any, ...], list[int]]:
    rows = found.select(*keys, *values).rows()
    assert len({row[: len(keys)] for row in rows}) == len(rows)
    return {row[: len(keys)]: list(row[len(keys) :]) for row in rows}


@settings(max_examples=40)
@given(st.lists(shots, min_size=1, max_size=30), st.sampled_from([(), (1,), (2, 3), (99,)]))
def test_sums_are_those_of_whole_numbers(rows: list[Row], gone: tuple[int, ...]) -> None:
    found = run(SUMS, rows, gone)
    assert dict(found.schema) == SUMS.schema
    assert as_dict(found, SUM_KEYS, SUMMED) == sums_in_python(rows, gone)


@settings(max_examples=40)
@given(st.lists(shots, min_size=1, max_size=30), st.sampled_from([(), (1,), (2, 3)]))
def test_carries_are_counted_by_half_metres(rows: list[Row], gone: tuple[int, ...]) -> None:
    found = run(CARRIES, rows, gone)
    build = CARRY_KEYS[:-1]
    expected = Counter((*(row[key] for key in build), row[CARRY] // BIN_CM) for row in kept(rows, gone))
    assert dict(found.schema) == CARRIES.schema
    assert as_dict(found, CARRY_KEYS, ["n"]) == {key: [n] for key, n in expected.items()}


def test_squares_do_not_overflow_where_a_shot_is_32_bits() -> None:
    (row,) = run(SUMS, [{CARRY: MOST}, {CARRY: -MOST}]).to_dicts()
    assert (row[f"sum_{CARRY}"], row[f"squares_{CARRY}"]) == (0, 2 * MOST**2)
    assert 2 * MOST**2 > 2**31


def test_there_is_room_for_five_thousand_million_shots() -> None:
    """Sums of months are added as 64-bit numbers, too: five of 1,000 million shots each, all as long as can be."""
    shots_in_all = 5 * 10**9
    assert shots_in_all * MOST**2 <= 2**63 - 1
    month = run(SUMS, [{CARRY: MOST}]).with_columns(pl.col(*SUMMED) * 10**9)
    merged = pl.concat([month] * 5).group_by(SUM_KEYS).agg(pl.col(*SUMMED).sum())
    assert merged[f"squares_{CARRY}"].to_list() == [shots_in_all * MOST**2]
    assert merged[f"sum_{CARRY}"].to_list() == [shots_in_all * MOST]


def test_any_measures_may_be_summed() -> None:
    rows = frame([{"spin_rate_rpm": 3}, {"spin_rate_rpm": None}, {"spin_rate_rpm": -4, "smash_factor_e4": 7}])
    found = moments(nw.from_native(rows.lazy()), ("job",), ("spin_rate_rpm", "smash_factor_e4"), ("apex_cm",))
    (row,) = found.to_native().collect().to_dicts()
    assert row == {
        "job": "driver", "n_spin_rate_rpm": 2, "sum_spin_rate_rpm": -1, "squares_spin_rate_rpm": 25,
        "n_smash_factor_e4": 1, "sum_smash_factor_e4": 7, "squares_smash_factor_e4": 49, "n_apex_cm": 0,
        "sum_apex_cm": 0,
    }  # fmt: skip


@pytest.mark.parametrize("missing", ["compares", "fate"])
def test_a_shot_of_which_it_is_not_known_whether_it_counts_does_not(missing: str) -> None:
    assert run(SUMS, [{missing: None}]).height == 0
