"""From the archive to the pieces of the roll-up: names, categories, speeds and quantiles."""

import math
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import month_sums
from pipeline.analysis.rollup import roll_up
from pipeline.analysis.rollup_cells import checked
from pipeline.model_sums import Wanted, pieces, quantiles
from pipeline.rollup_records import GROUP_SEPARATOR, ArchiveManifest
from pipeline.shot_sums import BIN_CM, CARRIES
from tests.invented_archive import Row, archive


def made(tmp_path: Path, rows: list[Row], wanted: Wanted | None = None) -> pl.DataFrame:
    return pieces(archive(tmp_path / "archive", rows), wanted)


def values(found: pl.DataFrame, *names: str) -> list[tuple[Any, ...]]:
    return found.select(names).unique(maintain_order=True).rows()


def test_a_piece_has_the_sums_of_its_shots(tmp_path: Path) -> None:
    rows: list[Row] = [
        {"carry_cm": 20_000, "club_speed_cmps": 4_400},
        {"carry_cm": 21_050, "club_speed_cmps": 4_500},
        {"carry_cm": 9_000, "fate": "mishit"},
        {"carry_cm": None},
        {"carry_cm": 25_000, "compares": False},
    ]
    (row,) = made(tmp_path, rows).to_dicts()
    assert row == {
        "customer": 1, "model": "A", "category": "driver", "loft": "10.5", "shaft": "S", "period": "2026-05",
        "studio": "s1", "own": False, "sitting": 1, "n": 2, "total": 410.5, "squares": 200.0**2 + 210.5**2,
        "speed_mps": 44.5, "speed_kind": "club_speed_mps",
    }  # fmt: skip


@pytest.mark.parametrize(
    "change",
    [{"customer": 2}, {"model": "B"}, {"job": "iron 7"}, {"loft_cdeg": None}, {"shaft": "R"}, {"month": "2026-06"},
     {"studio": "s2"}, {"own": True}, {"visit": 2}],
)  # fmt: skip
def test_whatever_differs_makes_another_piece(tmp_path: Path, change: Row) -> None:
    found = made(tmp_path, [{}, change, {}, change])
    assert found["n"].to_list() == [2, 2]
    assert checked(found).height == 2


def test_lofts_are_written_as_people_do(tmp_path: Path) -> None:
    found = made(tmp_path, [{"loft_cdeg": loft} for loft in (900, 1050, 1025, 5600, None)])
    assert set(found["loft"]) == {"9", "10.5", "10.25", "56", None}


# --- names --------------------------------------------------------------------------------------------------------
def test_models_written_alike_are_one_by_the_spelling_of_most_shots(tmp_path: Path) -> None:
    rows: list[Row] = [{"model": "alpha max"}] * 2 + [
        {"model": "Alpha Max"},
        {"model": " ALPHA  max"},
        {"model": "alpha\u00a0 max"},
    ]
    assert values(made(tmp_path, rows), "model", "n") == [("alpha max", 5)]
    assert values(made(tmp_path, [*rows, *[{"model": "Alpha Max"}] * 2]), "model", "n") == [("Alpha Max", 7)]


def test_of_spellings_as_frequent_the_first_in_order_is_shown(tmp_path: Path) -> None:
    rows: list[Row] = [{"model": "beta"}, {"model": "BETA", "customer": 2}, {"model": "Beta", "customer": 3}]
    assert values(made(tmp_path, rows), "model") == [("BETA",)]


def test_spelling_counts_shots_over_all_that_is_wanted(tmp_path: Path) -> None:
    rows = [{"model": "beta", "job": "iron 7"}] * 3 + [{"model": "Beta"}] * 2
    assert values(made(tmp_path, rows), "model") == [("beta",)]
    drivers = pieces(archive(tmp_path / "archive", rows), Wanted(category="driver"))
    assert values(drivers, "model") == [("Beta",)]


def test_shafts_written_alike_are_one_and_no_control_character_passes(tmp_path: Path) -> None:
    rows: list[Row] = [{"shaft": "Stiff"}, {"shaft": "stiff"}, {"shaft": f"x{GROUP_SEPARATOR}y"}]
    found = made(tmp_path, rows, Wanted(by=("shaft",)))
    assert {tuple(text.split(GROUP_SEPARATOR)) for text in found["category"]} == {
        ("driver", "Stiff"),
        ("driver", "x y"),
    }


def test_what_nobody_named_stays_unnamed(tmp_path: Path) -> None:
    rows: list[Row] = [{"model": "", "own": True}, {"model": " ", "own": True}, {"model": ""}]
    assert values(made(tmp_path, rows), "model", "own", "n") == [("", False, 1), ("", True, 2)]


# --- categories ---------------------------------------------------------------------------------------------------
JOBS = ("driver", "iron", "iron 7", "iron 8", "wedge sw", "wedge 56", "wood 3", "unknown")


@pytest.mark.parametrize(
    ("category", "jobs"),
    [
        (None, {"driver", "iron", "iron 7", "iron 8", "wedge sw", "wedge 56", "wood 3"}),
        ("iron", {"iron", "iron 7", "iron 8"}),
        ("iron 7", {"iron 7"}),
        ("wedge", {"wedge sw", "wedge 56"}),
        ("driver", {"driver"}),
        ("unknown", {"unknown"}),
        ("hybrid", set()),
        ("iro", set()),
    ],
)
def test_jobs_are_chosen(tmp_path: Path, category: str | None, jobs: set[str]) -> None:
    manifest = archive(tmp_path / "archive", [{"job": job} for job in JOBS])
    assert set(pieces(manifest, Wanted(category=category))["category"]) == jobs
    assert set(quantiles(manifest, Wanted(category=category))["category"]) == jobs


def test_a_category_holds_what_divides_it_in_the_order_asked_for(tmp_path: Path) -> None:
    rows: list[Row] = [{"loft_cdeg": 1050}, {"loft_cdeg": None, "shaft": "", "studio": "s2", "month": "2026-06"}]
    found = made(tmp_path, rows, Wanted(by=("studio", "loft", "month", "shaft")))
    assert {tuple(text.split(GROUP_SEPARATOR)) for text in found["category"]} == {
        ("driver", "s1", "10.5", "2026-05", "S"),
        ("driver", "s2", "", "2026-06", ""),
    }
    manifest = archive(tmp_path / "archive", rows)
    by = Wanted(by=("studio", "loft", "month", "shaft"))
    assert set(quantiles(manifest, by)["category"]) == set(found["category"])


# --- speed --------------------------------------------------------------------------------------------------------
def test_the_speed_is_of_one_kind_in_a_job(tmp_path: Path) -> None:
    """Customer 2's device gave the club's speed of one of two drives only."""
    rows: list[Row] = [
        {"customer": 1},
        {"customer": 2},
        {"customer": 2, "club_speed_cmps": None, "ball_speed_cmps": 6_700},
        {"customer": 3, "job": "iron 7", "club_speed_cmps": 3_600},
        {"customer": 3, "job": "iron 7", "club_speed_cmps": 3_700},
        {"customer": 3, "job": "iron 7", "club_speed_cmps": None},
        {"customer": 4, "job": "wood 3", "club_speed_cmps": None, "ball_speed_cmps": None},
    ]
    found = made(tmp_path, rows).sort("customer")
    assert found.select("customer", "speed_mps", "speed_kind").rows() == [
        (1, 65.0, "ball_speed_mps"),
        (2, 66.0, "ball_speed_mps"),
        (3, 36.5, "club_speed_mps"),
        (4, None, "ball_speed_mps"),
    ]


# --- quantiles ----------------------------------------------------------------------------------------------------
def at(carries: list[int], tenths: int) -> float:
    """Give the smallest carry that so many tenths do not exceed [m]."""
    return sorted(carries)[math.ceil(tenths * len(carries) / 10) - 1] / 100


groups = st.lists(
    st.tuples(st.sampled_from(["2026-05", "2026-06"]), st.sampled_from(["A", "a"]), st.integers(-300, 900)),
    min_size=1,
    max_size=40,
)


@settings(max_examples=25)
@given(groups)
def test_quantiles_of_merged_months_are_those_of_all_shots_to_a_bin(
    tmp_path_factory: pytest.TempPathFactory, shots: list[tuple[str, str, int]]
) -> None:
    rows: list[Row] = [{"month": month, "model": model, "carry_cm": carry} for month, model, carry in shots]
    manifest = archive(tmp_path_factory.mktemp("q") / "archive", rows)
    (found,) = quantiles(manifest).to_dicts()
    carries = [carry for _, _, carry in shots]
    assert found["n"] == len(carries)
    for tenths in (1, 5, 9):
        assert abs(found[f"p{tenths}0_m"] - at(carries, tenths)) <= BIN_CM / 100
    merged = month_sums.gathered(manifest, (None, None), CARRIES).group_by("bin").agg(pl.col("n").sum()).collect()
    assert dict(merged.iter_rows()) == {
        b: sum(c // BIN_CM == b for c in carries) for b in {c // BIN_CM for c in carries}
    }


def test_a_quantile_stands_where_its_share_of_the_bin_is(tmp_path: Path) -> None:
    rows = [{"carry_cm": 20_000 + k} for k in range(10)]
    (found,) = quantiles(archive(tmp_path / "archive", rows)).to_dicts()
    assert (found["p10_m"], found["p50_m"], found["p90_m"]) == pytest.approx((200.05, 200.25, 200.45))


# --- all together -------------------------------------------------------------------------------------------------
def test_the_roll_up_takes_the_pieces(tmp_path: Path) -> None:
    rows: list[Row] = [
        {"customer": customer, "visit": customer, "model": model, "own": own,
         "carry_cm": 18_000 + 100 * customer + more + 150 * shot}
        for customer in range(1, 13)
        for model, own, more in (
             ("A", False, 900), ("a", False, 900), ("B", False, 0), ("", True, -600), ("", False, 0)
         )
        for shot in range(4)
    ]  # fmt: skip
    (found,) = roll_up(made(tmp_path, rows))
    assert [row.effect.model for row in found.models] == ["A", "B"]
    assert found.models[0].effect.effect - found.models[1].effect.effect == pytest.approx(9.0, abs=0.5)
    gains = found.models[1].gains
    assert gains is not None
    assert gains.mean == pytest.approx(6.0)
    assert (found.shots, found.unnamed_shots) == (12 * 16, 12 * 4)


def test_an_empty_archive_gives_no_pieces() -> None:
    assert roll_up(pieces(ArchiveManifest(()))) == ()
    assert quantiles(ArchiveManifest(())).height == 0
