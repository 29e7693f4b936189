"""Every folder of shot_files/ holds an input and the reading it must give; adding a case needs no Python."""

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.reading import as_json, read_shot_file
from pipeline.records import Given, ShotFile

FOLDER = Path(__file__).parent / "shot_files"
CASES = sorted(folder.name for folder in FOLDER.iterdir() if folder.is_dir())
TOLERANCE = 1e-6  # stored units; the inputs have few digits and the factors are exact


def read_case(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Give the expected and the actual reading of a case."""
    folder = FOLDER / name
    expected = json.loads((folder / "expected.json").read_text(encoding="utf-8"))
    [path] = folder.glob("input.*")
    reading = read_shot_file(ShotFile(path.name, path.read_bytes()), Given(**expected["given"]))
    return expected, as_json(reading)


@pytest.mark.parametrize("name", CASES)
def test_case(name: str) -> None:
    expected, actual = read_case(name)
    for part in ("outcome", "error", "dialect", "columns", "unmapped", "rejected", "bad_cells", "dropped", "meta"):
        assert actual[part] == expected[part], part
    assert [row["line"] for row in actual["rows"]] == [row["line"] for row in expected["rows"]]
    for found, row in zip(actual["rows"], expected["rows"], strict=True):
        assert found == {
            key: value if isinstance(value, str | None) else pytest.approx(value, abs=TOLERANCE)
            for key, value in row.items()
        }
    assert set(actual["warnings"]) >= set(expected["warnings"])


@pytest.mark.parametrize("name", CASES)
def test_case_is_told(name: str) -> None:
    told = (FOLDER / name / "case.md").read_text(encoding="utf-8")
    assert told.startswith(f"# {name}\n")
    assert "**Symptom.**" in told
    assert "**Right outcome.**" in told
