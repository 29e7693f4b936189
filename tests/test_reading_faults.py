"""Every reason the reader can give is told in schemas/faults.toml, with the facts it carries."""

import json
import re
from pathlib import Path

import pipeline.reading
from pipeline.resources import table

CODE = "\n".join(path.read_text(encoding="utf-8") for path in Path(pipeline.reading.__file__).parent.glob("*.py"))
CASES = [
    json.loads(path.read_text(encoding="utf-8")) for path in Path(__file__).parent.glob("shot_files/*/expected.json")
]
FAULTS = table("faults")


def test_every_kind_of_fault_occurs_in_a_case() -> None:
    assert {case["error"]["kind"] for case in CASES if case["error"]} == set(FAULTS["file"])


def test_every_reason_of_a_row_occurs_in_a_case() -> None:
    reasons = {row["reason"] for case in CASES for row in case["rejected"]} - set(FAULTS["cell"])
    assert reasons == set(FAULTS["row"])


def test_every_reason_of_a_cell_occurs_in_a_case() -> None:
    found = {row["reason"] for case in CASES for part in ("rejected", "bad_cells") for row in case[part]}
    assert found >= set(FAULTS["cell"])


def test_every_dropped_kind_and_warning_occurs_in_a_case() -> None:
    assert {row["reason"] for case in CASES for row in case["dropped"]} == set(FAULTS["dropped"])
    assert {warning for case in CASES for warning in case["warnings"]} == set(FAULTS["warning"])


def test_facts_and_outcomes_are_as_listed() -> None:
    for case in CASES:
        if case["error"]:
            fault = FAULTS["file"][case["error"]["kind"]]
            assert set(case["error"]) - {"kind"} == set(fault["facts"])
            assert case["outcome"] == fault["outcome"]


def test_every_reason_has_a_meaning() -> None:
    assert all(row["meaning"] for rows in FAULTS.values() for row in rows.values())


def test_the_code_gives_no_other_fault() -> None:
    assert set(re.findall(r'Fault\("(\w+)"', CODE)) == set(FAULTS["file"])
