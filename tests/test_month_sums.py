"""The kept sums of a month: right by their name, made when missing, gone when what they were of is gone."""

import os
import stat
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import engines, model_sums, month_sums, shot_archive, sum_files
from pipeline.errors import FolderError
from pipeline.model_sums import Wanted, pieces, quantiles
from pipeline.rollup_records import ArchiveManifest
from pipeline.shot_sums import CARRIES, SUMS
from tests.invented_archive import Row, archive, frame, written

SHOTS: list[Row] = [
    {"studio": studio, "month": month, "visit": 10 * s + m, "customer": customer, "model": model, "carry_cm": carry}
    for s, studio in enumerate(("s1", "s2"))
    for m, month in enumerate(("2026-04", "2026-05"))
    for customer in (1, 2)
    for model in "AB"
    for carry in (19_000 + 100 * m, 20_000 + 10 * s)
]


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Folders may be called anything, so marks that stand for others in a path are in the name."""
    return tmp_path / "Studio [1] {a,b} *?" / "archive"


def sums_of(root: Path) -> list[Path]:
    return sorted((root / sum_files.FOLDER).glob("studio=*/ym=*/*"))


def test_sums_are_made_once_and_used_again(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    manifest = archive(root, SHOTS)
    first, carries = pieces(manifest), quantiles(manifest)
    kept = sums_of(root)
    assert [(path.parent.parent.name, path.parent.name, path.suffixes[-2]) for path in kept] == [
        (f"studio={studio}", f"ym={month}", kind)
        for studio in ("s1", "s2")
        for month in ("2026-04", "2026-05")
        for kind in (".carries", ".sums")
    ]
    if os.name == "posix":
        assert {stat.S_IMODE(path.stat().st_mode) for path in kept} == {0o600}
    monkeypatch.setattr(engines, "collected", lambda *_: pytest.fail("summed again"))
    assert pieces(manifest).equals(first)
    assert quantiles(manifest).equals(carries)


def test_only_the_months_wanted_are_summed(root: Path) -> None:
    manifest = archive(root, SHOTS)
    found = pieces(manifest, Wanted(since="2026-05", until="2026-05"))
    assert found["period"].unique().to_list() == ["2026-05"]
    assert {path.parent.name for path in sums_of(root)} == {"ym=2026-05"}
    assert pieces(manifest, Wanted(since="2026-05")).equals(found)
    assert pieces(manifest, Wanted(until="2026-04"))["period"].unique().to_list() == ["2026-04"]
    assert pieces(manifest, Wanted(since="2026-06")).height == 0


def test_a_month_with_another_file_is_summed_anew_and_its_old_sums_go(root: Path) -> None:
    manifest = archive(root, SHOTS)
    pieces(manifest)
    quantiles(manifest)
    before = set(sums_of(root))
    more = written(root, "s1", "2026-05", frame([{"customer": 9, "visit": 77, "carry_cm": 21_000}]))
    found = pieces(ArchiveManifest((*manifest.paths, more)))
    assert found.filter(pl.col("customer") == 9)["total"].to_list() == [210.0]
    changed = set(sums_of(root)) ^ before
    assert {(path.parent.parent.name, path.parent.name, path.suffixes[-2]) for path in changed} == {
        ("studio=s1", "ym=2026-05", ".sums")
    }
    assert len(changed) == 2


def test_visits_that_count_no_more_are_left_out_and_only_their_month_is_summed_anew(root: Path) -> None:
    manifest = archive(root, SHOTS, files=2)
    whole = pieces(manifest)
    before = set(sums_of(root))
    found = pieces(ArchiveManifest(manifest.paths, (1, 999)))
    assert found.equals(whole.filter(pl.col("sitting") != 1))
    assert {path.parent for path in set(sums_of(root)) ^ before} == {root / "sums" / "studio=s1" / "ym=2026-05"}
    assert pieces(manifest).equals(whole)


def test_a_month_all_of_whose_visits_are_gone_has_no_sums(root: Path) -> None:
    manifest = archive(root, SHOTS, gone=(0, 1, 10, 11))
    assert pieces(manifest).height == 0
    assert quantiles(manifest).height == 0
    assert len(sums_of(root)) == 8
    assert pieces(ArchiveManifest(())).height == 0


def test_joined_files_give_the_same(root: Path) -> None:
    manifest = archive(root, SHOTS, files=3)
    assert len(manifest.paths) == 12
    first = pieces(manifest)
    joined = []
    for part in sum_files.partitions(manifest):
        rows = pl.concat([pl.read_parquet(path, glob=False) for path in part.paths])
        joined.append(written(root, part.studio, part.month, rows))
        for old in part.paths:
            old.unlink()
    assert pieces(ArchiveManifest(tuple(joined))).equals(first)


@pytest.mark.parametrize("why", ["a file in its place", "no disk"])
def test_sums_that_cannot_be_kept_only_cost_time(root: Path, monkeypatch: pytest.MonkeyPatch, why: str) -> None:
    manifest = archive(root, SHOTS)
    if why == "no disk":

        def full(_: object) -> None:
            raise OSError(28, "no space")

        monkeypatch.setattr(os, "fsync", full)
    else:
        (root / "sums").write_bytes(b"")
    found, carries = pieces(manifest), quantiles(manifest)
    assert sums_of(root) == []
    monkeypatch.undo()
    with suppress(OSError):
        (root / "sums").unlink()
    assert pieces(manifest).equals(found)
    assert quantiles(manifest).equals(carries)


def test_months_are_summed_in_groups(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    manifest = archive(root, SHOTS)
    whole = pieces(manifest)
    sum_files.forget_sums(root)
    monkeypatch.setitem(month_sums._AT_ONCE, "polars", 3)
    assert pieces(manifest).equals(whole)
    assert len(sums_of(root)) == 4


def test_rows_in_the_folder_of_another_month_are_noticed(root: Path) -> None:
    path = written(root, "s1", "2026-04", frame([{"month": "2026-05"}]))
    with pytest.raises(ValueError, match="another month or studio"):
        pieces(ArchiveManifest((path,)))


# --- what goes ----------------------------------------------------------------------------------------------------
def test_sums_of_a_month_are_forgotten(root: Path) -> None:
    manifest = archive(root, SHOTS)
    pieces(manifest)
    quantiles(manifest)
    sum_files.forget_sums(root, {"2026-05"})
    assert {path.parent.name for path in sums_of(root)} == {"ym=2026-04"}
    assert len(sums_of(root)) == 4
    sum_files.forget_sums(root)
    assert sums_of(root) == []
    sum_files.forget_sums(root)


def test_what_nobody_asks_for_again_is_swept(root: Path) -> None:
    manifest = archive(root, SHOTS)
    pieces(manifest)
    quantiles(manifest)
    kept = sums_of(root)
    half_written = kept[0].with_name(f"0a1b.{kept[0].name}")
    half_written.write_bytes(b"")
    sum_files.sweep_sums(root, manifest)
    assert sums_of(root) == kept
    sum_files.sweep_sums(root, ArchiveManifest(manifest.paths[:1]))
    assert {path.parent for path in sums_of(root)} == {kept[0].parent}
    assert len(sums_of(root)) == 2
    sum_files.sweep_sums(root, ArchiveManifest(manifest.paths, (1,)))
    assert sums_of(root) == []


# --- files that go, and files of another version ------------------------------------------------------------------
def test_a_file_that_has_gone_is_told_plainly(root: Path) -> None:
    manifest = archive(root, SHOTS)
    manifest.paths[0].unlink()
    with pytest.raises(FileNotFoundError):
        pieces(manifest)
    with pytest.raises(FileNotFoundError):
        pieces(ArchiveManifest(manifest.paths, (1,)))


def test_kept_sums_that_go_meanwhile_are_told_plainly(root: Path) -> None:
    manifest = archive(root, SHOTS)
    lazy = month_sums.gathered(manifest, (None, None), SUMS)
    sum_files.forget_sums(root)
    with pytest.raises(FileNotFoundError):
        lazy.collect()


def test_the_manifest_is_asked_for_anew() -> None:
    asked = count()

    def ask() -> Any:  # noqa: ANN401
        return next(asked)

    def use(manifest: Any) -> Any:  # noqa: ANN401
        if manifest < 2:
            raise FileNotFoundError
        return f"used {manifest}"

    assert month_sums.with_newest(ask, use) == "used 2"
    tried = []

    def never(manifest: Any) -> None:  # noqa: ANN401
        tried.append(manifest)
        raise FileNotFoundError(manifest)

    with pytest.raises(FileNotFoundError):
        month_sums.with_newest(ask, never)
    assert tried == [3, 4, 5]


@pytest.mark.parametrize("said", [str(shot_archive.VERSION + 1), "", "new"])
def test_files_of_a_later_version_are_refused(root: Path, said: str) -> None:
    path = root / "studio=s1" / "ym=2026-05" / "a.parquet"
    path.parent.mkdir(parents=True)
    frame([{}]).write_parquet(path, metadata={engines.MARK: said})
    with pytest.raises(FolderError, match="later version"):
        pieces(ArchiveManifest((path,)))


def test_a_column_that_older_files_lack_is_empty_there(root: Path) -> None:
    """And one that is no more used, or comes in another place, does no harm."""
    manifest = archive(root, SHOTS)
    old = root / "studio=s1" / "ym=2026-04" / "old.parquet"
    rows = frame([{"month": "2026-04", "customer": 50, "carry_cm": 18_000}]).drop("club_speed_cmps")
    whole = rows.with_columns(pl.lit(1).alias("no_more")).select(*reversed(rows.columns), "no_more")
    whole.write_parquet(old, metadata={engines.MARK: str(shot_archive.VERSION)})
    found = pieces(ArchiveManifest((old, *manifest.paths)))
    assert found.filter(customer=50).select("total", "speed_mps", "speed_kind").rows() == [
        (180.0, 65.0, "ball_speed_mps")
    ]
    assert (
        found.filter(pl.col("customer") != 50)
        .drop("speed_mps", "speed_kind")
        .equals(pieces(manifest).drop("speed_mps", "speed_kind"))
    )


def test_kinds_have_names_of_their_own() -> None:
    assert SUMS.name != CARRIES.name
    assert model_sums.UNKNOWN == "unknown"
