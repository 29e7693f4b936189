"""The archive as the commands leave it: real files, the real child process. All visits are invented."""

import shutil
from pathlib import Path

import polars as pl
import pytest

from pipeline import archive, studio
from pipeline.cli import main
from pipeline.ledger import Ledger
from pipeline.resources import folder
from pipeline.shot_archive import VERSION, schema

pytestmark = pytest.mark.slow


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Give a studio whose three example visits have their reports."""
    made = tmp_path / "studio"
    assert main(["init", str(made)]) == 0
    for path in folder("inbox_example").iterdir():
        if path.is_dir():
            shutil.copytree(path, made / "inbox" / path.name)
        elif path.suffix in (".csv", ".tsv"):
            shutil.copy(path, made / "inbox")
    assert main(["process", str(made)]) == 0
    return made


def counted(root: Path) -> pl.DataFrame:
    """Give the rows that count."""
    where, settings = studio.opened(root)
    ledger = Ledger(where.work / "ledger.sqlite3")
    try:
        said = archive.manifest(where, settings, ledger)
    finally:
        ledger.close()
    frames = [pl.read_parquet(path) for path in said.paths]
    return pl.concat(frames).filter(~pl.col("visit").is_in(list(said.gone)))


def all_files(root: Path) -> list[pl.DataFrame]:
    return [pl.read_parquet(path) for path in (root / "work" / "archive").rglob("studio=*/ym=*/*.parquet")]


def shots(root: Path) -> int:
    return sum(
        len(path.read_text(encoding="utf-8-sig").splitlines()) - 1 for path in (root / "outbox").glob("*/shots.csv")
    )


def test_every_shot_of_every_report_is_there_once(place: Path) -> None:
    found = counted(place)
    assert found.schema == schema()
    assert found.height == shots(place) == 75
    assert found.select("visit", "number").is_duplicated().sum() == 0
    assert found["customer"].n_unique() == 3
    assert set(found.filter("own")["model"]) == {""}
    assert {"Head B", "Head C"} <= set(found["model"])
    [path] = (place / "work" / "archive").rglob("joined-*.parquet")
    assert pl.read_parquet_metadata(path)["baywright.archive"] == str(VERSION)


def test_a_corrected_visit_toml_is_filed_anew_and_counts_once(place: Path, tmp_path: Path) -> None:
    before = counted(place)
    facts = tmp_path / "right.toml"
    text = (place / "inbox" / "customer 0142" / "visit.toml").read_text(encoding="utf-8")
    facts.write_text(text.replace("Customer 0142", "Customer 0143").replace("Head B", "Head X"), encoding="utf-8")
    assert main(["report", str(place), "customer 0142", "--facts", str(facts)]) == 0
    after = counted(place)
    assert after.height == before.height
    assert "Head X" in set(after["model"])
    assert "Head B" not in set(after["model"])
    assert set(after["customer"]) != set(before["customer"])
    assert not any("Head B" in set(frame["model"]) for frame in all_files(place))


def test_a_forgotten_customer_has_no_row_in_any_file(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = counted(place)
    [gone] = before.filter(pl.col("model") == "Head B")["visit"].unique()
    assert main(["forget", str(place), "customer 0142", "--yes"]) == 0
    assert "nothing left" in capsys.readouterr().out
    assert counted(place).height == before.filter(pl.col("visit") != gone).height > 0
    assert not any(frame.filter(pl.col("visit") == gone).height for frame in all_files(place))


def test_two_processes_give_the_same_bytes_for_the_same_visit(place: Path, tmp_path: Path) -> None:
    again = tmp_path / "again"
    shutil.copytree(place / "inbox", again / "inbox")
    assert main(["init", str(again)]) == 0
    (again / "work" / "studio-id").write_bytes((place / "work" / "studio-id").read_bytes())
    ledger = Ledger(again / "work" / "ledger.sqlite3")
    first = Ledger(place / "work" / "ledger.sqlite3")
    ledger.changed(archive._SECRET, first.remembered(archive._SECRET))
    for opened in (ledger, first):
        opened.close()
    assert main(["process", str(again)]) == 0

    def contents(root: Path) -> set[bytes]:
        return {path.read_bytes() for path in (root / "work" / "archive").rglob("*.parquet")}

    assert contents(again) == contents(place)
