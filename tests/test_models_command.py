"""`baywright models`: from an invented archive to the console and to files; what cannot be said is said plainly."""

import io
import stat
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl  # type: ignore[import-untyped]
import polars as pl
import pytest

from pipeline import archive, model_findings, settings, shot_archive, studio
from pipeline.errors import FolderError
from pipeline.ledger import Ledger
from pipeline.rollup_records import ArchiveManifest

Run = Callable[..., tuple[int, str, str]]
HEADS = ("Head A", "=Head B", "Head \x1b[31mC")


def shots(customer: int, model: str, middle_m: float, generator: np.random.Generator, own: bool) -> pl.DataFrame:  # noqa: FBT001
    """Invent the rows of one set: eight shots of a customer with a club."""
    carry = (100 * (middle_m + 6 * generator.standard_normal(8))).round().astype(int)
    month = 1 + customer % 6
    constant = {
        "studio": "s1", "month": f"2026-{month:02}", "visit": customer, "customer": customer, "bay": "2",
        "job": "driver", "model": model, "loft_cdeg": 1050, "shaft": "S", "own": own, "compares": True,
        "fate": "counted", "carry_measured": True, "club_speed_cmps": 4200 + 40 * (customer % 9),
    }  # fmt: skip
    frame = pl.DataFrame({"carry_cm": carry, "number": range(8)}).with_columns(
        *(pl.lit(value).alias(name) for name, value in constant.items()), pl.date(2026, month, 3).alias("day")
    )
    lacking = [pl.lit(None).alias(name) for name in shot_archive.schema() if name not in frame.columns]
    return frame.with_columns(lacking).select(pl.col(name).cast(kind) for name, kind in shot_archive.schema().items())


def invented(folder: Path) -> ArchiveManifest:
    """Write an archive of twelve customers who hit their own club and three heads; a head of one customer, too."""
    generator = np.random.default_rng(1)
    frames = []
    for customer in range(1, 13):
        level = 190 + 4 * (customer % 5)
        frames.append(shots(customer, "", level - 5, generator, own=True))
        frames += [shots(customer, head, level + 6 - 6 * i, generator, own=False) for i, head in enumerate(HEADS)]
    frames.append(shots(1, "Head of Oak", 200, generator, own=False))
    paths = []
    for (month,), part in pl.concat(frames).partition_by("month", as_dict=True).items():
        path = folder / "studio=s1" / f"ym={month}" / "rows.parquet"
        path.parent.mkdir(parents=True)
        path.write_bytes(shot_archive.written(part))
        paths.append(path)
    return ArchiveManifest(tuple(paths))


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """Give a studio that has a ledger, and nothing in its archive."""
    made = studio.create(tmp_path / "studio")
    Ledger(made.work / "ledger.sqlite3").close()
    return made.root


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> ArchiveManifest:
    """Write the archive once for all tests: they read it."""
    return invented(tmp_path_factory.mktemp("archive"))


@pytest.fixture
def full(root: Path, kept: ArchiveManifest, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a studio with that archive."""
    monkeypatch.setattr(archive, "manifest", lambda *_: kept)
    return root


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command as from a console."""
    from pipeline.cli import main  # noqa: PLC0415

    def go(*words: object) -> tuple[int, str, str]:
        try:
            code = main(["models", *map(str, words)])
        except SystemExit as end:
            code = int(str(end.code))
        said = capsys.readouterr()
        return code, said.out, said.err

    return go


# --- what it says -------------------------------------------------------------------------------------------------
def test_the_summary_says_what_came_of_it_and_names_nobody(full: Path, run: Run) -> None:
    code, said, wrong = run(full)
    assert (code, wrong) == (0, "")
    assert said.startswith("Club models, January 2026 to June 2026. Of 3 models compared: 1 likely farther")
    lines = [line for line in said.split("\n") if line.startswith("  ") and "Head" in line]
    assert [line.split()[1] for line in lines if " of 3" in line] == ["A", "B", "[31mC"]
    assert "Customers behind this: 12." in said
    assert "Models of one customer each (1): fewer than 5 customers (customers: 1, shots: 8)" in said
    assert "Oak" not in said
    assert "Are the bays' devices steady?" in said
    assert "\x1b" not in said


def test_it_changes_nothing_and_asks_for_no_lock(full: Path, run: Run) -> None:
    def seen() -> dict[str, int]:
        own = {"log.txt", "ledger.sqlite3"}
        return {str(path): path.stat().st_mtime_ns for path in full.rglob("*.*") if path.name not in own}

    held = studio.lock(studio.Studio(full))
    try:
        before = seen()
        assert run(full)[0] == 0
        assert seen() == before
    finally:
        held.release()


@pytest.mark.parametrize("ending", ["html", "xlsx", "csv", "parquet", pytest.param("PDF", marks=pytest.mark.slow)])
def test_a_file_is_written_whole_and_for_its_owner_alone(full: Path, run: Run, tmp_path: Path, ending: str) -> None:
    target = tmp_path / f"models.{ending}"
    target.write_text("of last month", encoding="utf-8")
    target.chmod(0o644)
    code, said, _ = run(full, "--out", target)
    assert (code, said) == (0, f"models shown: 3 → {target}\n")
    content = target.read_bytes()
    start = {"html": b"<!DOCTYPE", "xlsx": b"PK", "csv": b"\xef\xbb\xbfclubs,", "parquet": b"PAR1", "PDF": b"%PDF"}
    assert content.startswith(start[ending])
    assert b"Oak" not in content
    assert stat.S_IMODE(target.stat().st_mode) & 0o077 == 0
    assert [path.name for path in tmp_path.iterdir() if "part" in path.name] == []


def test_settings_and_wishes_reach_the_roll_up(full: Path, run: Run, tmp_path: Path) -> None:
    (full / "studio.toml").write_text('fewest_customers = 13\nlanguage = "de"', encoding="utf-8")
    code, said, _ = run(full)
    assert code == 0
    assert "no two models were each compared by 13 customers or more" in said
    (full / "studio.toml").write_text('units_shown = "metres"\nsmallest_difference_yd = 40', encoding="utf-8")
    target = tmp_path / "models.xlsx"
    run(full, "--since", "2026-02", "--until", "2026-04", "--by", "shaft", "--by", "loft", "--out", target)
    head, first, *_ = [[cell.value for cell in line] for line in openpyxl.load_workbook(target)["models"].iter_rows()]
    row = dict(zip(head, first, strict=True))
    assert (row["clubs"], row["loft"], row["shaft"], row["customers"]) == ("driver", "10.5", "S", 6)
    assert (row["first_month"], row["last_month"]) == ("2026-02", "2026-04")
    assert isinstance(row["effect_m"], float)


def test_a_models_carries_are_those_of_the_archive(full: Path, run: Run, tmp_path: Path) -> None:
    run(full, "--out", tmp_path / "m.parquet")
    first = pl.read_parquet(io.BytesIO((tmp_path / "m.parquet").read_bytes())).row(0, named=True)
    assert (first["model"], first["tested_shots"], first["gain_customers"]) == ("Head A", 96, 12)
    assert 190 < first["carry_p50_m"] < 215
    assert first["carry_p10_m"] < first["carry_p50_m"] < first["carry_p90_m"]


# --- what cannot be said ------------------------------------------------------------------------------------------
def test_an_empty_archive_says_how_it_is_filled(root: Path, run: Run) -> None:
    code, said, wrong = run(root)
    assert (code, said) == (4, "")
    assert "no shots are kept yet" in wrong
    assert "--backlog" in wrong
    (root / "work" / "ledger.sqlite3").unlink()
    assert run(root)[0] == 4
    assert not (root / "work" / "ledger.sqlite3").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--category", "wedge"), "No shot that counts is kept for --category wedge. Kept are driver, from 2026-01"),
        (("--since", "2027-01"), "No shot that counts is kept for --since 2027-01. Kept are driver"),
        (("--category", "\x1b[2J", "--until", "2020-01"), "for --category �[2J --until 2020-01."),
    ],
)
def test_what_nobody_hit_is_said_with_what_there_is(full: Path, run: Run, words: tuple[str, ...], said: str) -> None:
    code, shown, wrong = run(full, *words)
    assert (code, shown) == (4, "")
    assert said in wrong


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--out", "models.docx"), 64, "must end in .pdf, .html, .xlsx, .csv or .parquet"),
        (("--out", "models"), 64, "must end in"),
        (("--since", "2026-13"), 64, "is no month such as 2026-03"),
        (("--since", "2026-3"), 64, "is no month"),
        (("--until", "２０２６-03"), 64, "is no month"),
        (("--by", "customer"), 64, "invalid choice"),
        (("--engine", "abacus"), 64, "invalid choice"),
        (("--since", "2026-04", "--until", "2026-03"), 6, "lies after"),
        (("--out", "/nowhere/at/all.pdf"), 7, "there is no folder /nowhere/at"),
    ],
)
def test_what_is_not_understood_is_said_before_anything_is_done(
    full: Path, run: Run, words: tuple[str, ...], code: int, said: str
) -> None:
    found, shown, wrong = run(full, *words)
    assert (found, shown) == (code, "")
    assert said in wrong


def test_a_target_that_refuses_keeps_what_it_was(
    full: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.csv").mkdir()
    assert run(full, "--out", tmp_path / "a.csv")[0] == FolderError.exit_code
    target = tmp_path / "b.csv"
    target.write_text("before", encoding="utf-8")
    monkeypatch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    code, _, wrong = run(full, "--out", target)
    monkeypatch.undo()
    assert code == FolderError.exit_code
    assert "cannot be written (No space left on device)" in wrong
    assert target.read_text(encoding="utf-8") == "before"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "b.csv", "studio"]


def test_a_folder_that_is_no_studio_and_an_archive_that_cannot_be_read(
    root: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code, _, wrong = run(tmp_path / "none")
    assert code == FolderError.exit_code
    assert "baywright init" in wrong
    place = tmp_path / "archive" / "studio=s1" / "ym=2026-01" / "rows.parquet"
    place.parent.mkdir(parents=True)
    place.write_bytes(b"PAR1 this is no such file PAR1")
    monkeypatch.setattr(archive, "manifest", lambda *_: ArchiveManifest((place,)))
    code, _, wrong = run(root)
    assert code == FolderError.exit_code
    assert "cannot be read" in wrong


def test_one_month_alone_may_be_asked_for(full: Path, run: Run) -> None:
    code, said, _ = run(full, "--since", "2026-03", "--until", "2026-03")
    assert code == 0
    assert said.startswith("Club models, March 2026. ")


def test_a_studios_own_minimum_goes_before_ours() -> None:
    few, many = (model_findings.rules_of(settings.load(f"fewest_customers = {n}"), "2026-11") for n in (3, 20))
    assert (few.fewest_customers, few.rank_customers, few.early_customers) == (3, 8, 8)
    assert (many.fewest_customers, many.rank_customers, many.early_customers) == (20, 20, 20)
    assert few.worth == pytest.approx(5 * 0.9144)
    assert model_findings.rules_of(settings.load("smallest_difference_yd = 10"), "2026-11").worth == pytest.approx(
        9.144
    )
    assert few.old_before == "2025-11"


@pytest.mark.parametrize(
    ("month", "count", "before"), [("2026-11", 12, "2025-11"), ("2026-01", 1, "2025-12"), ("2026-12", 11, "2026-01")]
)
def test_months_are_counted_back_over_the_year(month: str, count: int, before: str) -> None:
    assert model_findings.months_before(month, count) == before
