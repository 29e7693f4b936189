"""From the archive's rows to alarms of a bay: what counts as a visit, and how soon a drift is seen. All invented."""

import datetime as dt
from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.drift import RULES, session_value
from pipeline.bay_sessions import _values, watches
from pipeline.errors import FolderError
from pipeline.rollup_records import ArchiveManifest, BayWatch
from tests.benchmarks.invented_bays import FIRST_DAY, Bays, filed, rows

RATIO: Final = "smash_factor"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "rows.parquet"


def watched(manifest: ArchiveManifest) -> tuple[BayWatch, ...]:
    return watches(manifest, {})


def of(found: tuple[BayWatch, ...], quantity: str = RATIO, bay: str | None = None) -> list[BayWatch]:
    return [one for one in found if one.watch.quantity == quantity and bay in (None, one.bay)]


def day(number: int) -> dt.date:
    return FIRST_DAY + dt.timedelta(days=number)


def to(table: pl.DataFrame, **values: Any) -> pl.DataFrame:  # noqa: ANN401 - values of any column
    return table.with_columns(pl.lit(value).cast(table.schema[name]).alias(name) for name, value in values.items())


# --- drift through the whole path ---------------------------------------------------------------------------------
@pytest.mark.parametrize(("drift", "most"), [(0.01, 9), (0.02, 6), (-0.01, 9)])
def test_a_drift_of_one_or_two_in_a_hundred_is_seen_within_few_visits(file: Path, drift: float, most: int) -> None:
    """Of 200 bays all were seen, half by the sixth (1 %) and fifth visit (2 %), and the ratio alone tells it."""
    found = watched(filed(file, rows(Bays(12, 75, drift), 1)))
    alarms = [one.watch.alarm for one in of(found)]
    assert len(alarms) == 12
    for alarm in alarms:
        assert alarm is not None
        assert alarm.direction == ("up" if drift > 0 else "down")
        assert alarm.seen < 60 + most + 4
        assert abs(alarm.since - 60) <= 8
        assert alarm.since_day == day(alarm.since).isoformat()
        assert alarm.size == pytest.approx(1.48 * drift, abs=0.008)
    assert float(np.median([alarm.seen - 59 for alarm in alarms if alarm])) <= most
    for quantity in ("carry_over_modelled", "spin_rate_rpm"):
        assert sum(one.watch.state == "drifting" for one in of(found, quantity)) <= 2


def test_steady_bays_raise_few_alarms(file: Path) -> None:
    """Of 200 bays 1 to 2 % had an alarm on the hundredth visit after the reference (false_alarm_in_100 counts all)."""
    found = watched(filed(file, rows(Bays(20, 160), 2)))
    assert len(found) == 60
    assert sum(one.watch.state == "drifting" for one in found) <= 3
    assert all(one.watch.state in ("steady", "drifting") for one in found)


def test_a_device_put_right_again_ends_its_alarm_by_itself(file: Path) -> None:
    table = rows(Bays(40, 130, 0.02, begins=60, mended=90), 3)

    def standing(visits: int) -> int:
        found = watched(filed(file, table.filter(pl.col("day") < day(visits))))
        return sum(one.watch.state == "drifting" for one in of(found))

    assert standing(90) == 40
    assert 10 <= standing(100) <= 30
    assert standing(108) <= 10
    assert standing(120) <= 3


# --- what a visit says ----------------------------------------------------------------------------------------------
def test_a_visits_figures_are_those_of_the_watch(file: Path) -> None:
    table = rows(Bays(2, 4, shots=11), 5)
    found = _values(filed(file, table))
    assert found.height == 8
    for visit, *figures in found.select("visit", RATIO, "carry_over_modelled", "spin_rate_rpm").iter_rows():
        mine = table.filter(pl.col("visit") == visit)
        for name, column, scale, value in (
            (RATIO, "smash_factor_e4", 1e4, figures[0]),
            ("carry_over_modelled", "carry_over_modelled_e4", 1e4, figures[1]),
            ("spin_rate_rpm", "spin_rate_rpm", 1, figures[2]),
        ):
            assert value == pytest.approx(session_value(name, mine[column].to_numpy() / scale), abs=1e-9)


def test_bad_reads_and_missing_values_take_no_part_and_mishits_do(file: Path) -> None:
    table = rows(Bays(1, 1, shots=8), 5).with_row_index()
    fates = pl.when(pl.col("index") < 2).then(pl.lit("bad_read")).when(pl.col("index") == 2).then(pl.lit("mishit"))
    marked = table.with_columns(fate=fates.otherwise(pl.lit("asked")))
    wild = pl.when(pl.col("index") < 2).then(39_999).when(pl.col("index") == 2).then(13_000).otherwise(14_500)
    full = marked.with_columns(smash_factor_e4=wild.cast(pl.Int32)).drop("index")
    values = np.array([1.3, *[1.45] * 5])
    assert _values(filed(file, full))[RATIO].to_list() == [pytest.approx(session_value(RATIO, values))]
    lacking = full.with_row_index().with_columns(
        smash_factor_e4=pl.when(pl.col("index") < 4).then(None).otherwise(pl.col("smash_factor_e4"))
    )
    assert _values(filed(file, lacking.drop("index")))[RATIO].to_list() == [None]
    assert watched(filed(file, lacking.drop("index")))[0].watch.quantity != RATIO


def test_visits_stand_in_order_of_time_whatever_their_keys(file: Path) -> None:
    table = rows(Bays(1, 75, 0.03), 1).with_columns(visit=10_000 - pl.col("visit"))
    (found,) = of(watched(filed(file, table.sample(fraction=1.0, shuffle=True, seed=1))))
    assert found.watch.alarm is not None
    assert found.watch.alarm.since_day == day(60).isoformat()


def test_a_golfer_counts_once(file: Path) -> None:
    """One golfer with a strange swing fills the bay from the sixtieth visit on: no drift."""
    table = rows(Bays(1, 75, 0.03), 1)
    one = pl.when(pl.col("day") >= day(60)).then(7).otherwise(pl.col("customer")).cast(pl.Int64)
    (found,) = of(watched(filed(file, table.with_columns(customer=one))))
    assert found.watch.state == "steady"


def test_visits_that_are_gone_count_no_more(file: Path) -> None:
    table = rows(Bays(1, 75, 0.03), 1)
    late = tuple(table.filter(pl.col("day") >= day(60))["visit"].unique().to_list())
    (found,) = of(watched(filed(file, table, gone=late)))
    assert (found.watch.state, found.watch.used) == ("steady", 60)


# --- which watches there are ----------------------------------------------------------------------------------------
def test_each_bay_of_each_studio_is_watched_by_itself(file: Path) -> None:
    one = rows(Bays(2, 70), 1)
    drifting = rows(Bays(2, 75, 0.03), 2)
    found = watched(filed(file, to(one, studio="a"), to(drifting, studio="b")))
    assert [(w.studio, w.bay, w.watch.quantity) for w in found[:4]] == [
        ("a", "0", RATIO), ("a", "0", "carry_over_modelled"), ("a", "0", "spin_rate_rpm"), ("a", "1", RATIO),
    ]  # fmt: skip
    assert len(found) == 12
    assert [w.watch.state for w in of(found)] == ["steady", "steady", "drifting", "drifting"]


def test_a_bay_is_watched_by_the_job_with_most_visits_until_a_reference_is_full(file: Path) -> None:
    driver = rows(Bays(1, 20), 1)
    iron = to(rows(Bays(1, 30), 2), job="iron 7").with_columns(visit=pl.col("visit") + 1000)
    unknown = to(rows(Bays(1, 55), 3), job="unknown").with_columns(visit=pl.col("visit") + 2000)
    found = of(watched(filed(file, driver, iron, unknown)))
    assert [(w.job, w.watch.state, w.watch.used) for w in found] == [("iron 7", "learning", 30)]
    assert watched(filed(file, unknown)) == ()


def test_a_bay_stays_with_the_job_that_was_known_first(file: Path) -> None:
    """The alarm of the driver stands although many more irons have been hit since."""
    driver = rows(Bays(1, 75, 0.03), 1)
    iron = to(rows(Bays(1, 150), 2), job="iron 7").with_columns(
        visit=pl.col("visit") + 1000, day=pl.col("day") + pl.duration(days=40)
    )
    (found,) = of(watched(filed(file, driver, iron)))
    assert (found.job, found.watch.state) == ("driver", "drifting")
    earlier = iron.with_columns(day=pl.col("day") - pl.duration(days=100))
    (found,) = of(watched(filed(file, driver, earlier)))
    assert (found.job, found.watch.state) == ("iron 7", "steady")


def test_a_quantity_is_watched_by_a_job_that_has_it(file: Path) -> None:
    driver = rows(Bays(1, RULES.reference), 1)
    iron = to(rows(Bays(1, 90), 2), job="iron 7", smash_factor_e4=None).with_columns(visit=pl.col("visit") + 1000)
    found = watched(filed(file, driver, iron))
    assert [(w.watch.quantity, w.job) for w in found] == [
        (RATIO, "driver"), ("carry_over_modelled", "driver"), ("spin_rate_rpm", "driver"),
    ]  # fmt: skip
    (ratio,) = of(watched(filed(file, driver.filter(pl.col("day") < day(5)), iron)))
    assert (ratio.job, ratio.watch.used) == ("driver", 5)


# --- files ----------------------------------------------------------------------------------------------------------
def test_an_empty_archive_has_no_bays(file: Path) -> None:
    assert watched(ArchiveManifest(())) == ()
    assert watched(filed(file, rows(Bays(1, 1), 1).clear())) == ()


def test_several_files_are_one_archive(file: Path) -> None:
    table = rows(Bays(1, 75, 0.03), 1)
    parts = [filed(file.with_name(f"{n}.parquet"), table.filter(pl.col("visit") % 2 == n)).paths for n in (0, 1)]
    assert watched(ArchiveManifest((*parts[0], *parts[1]))) == watched(filed(file, table))


def test_rows_of_a_later_version_are_refused(file: Path) -> None:
    rows(Bays(1, 1), 1).write_parquet(file, metadata={"baywright.archive": "99"})
    with pytest.raises(FolderError):
        watched(ArchiveManifest((file,)))


def test_a_bay_set_up_anew_is_judged_from_that_day_on(file: Path) -> None:
    table = rows(Bays(1, 160, 0.02), 4)
    (drifting,) = of(watched(filed(file, table)))
    assert drifting.watch.state == "drifting"
    assert drifting.watch.alarm is not None
    key = (drifting.studio, drifting.bay)
    (anew,) = of(watches(filed(file, table), {key: drifting.watch.alarm.since_day}))
    assert anew.watch.state != "drifting"
    assert 0 < anew.watch.used < drifting.watch.used
    assert of(watches(filed(file, table), {("other", key[1]): "2099-01-01"})) == [drifting]
    assert of(watches(filed(file, table), {key: "2099-01-01"})) == []
