"""The manager's tables: a workbook whose texts stay texts, CSV and Parquet that say the same, counts in every row."""

import csv
import datetime as dt
import io
import re
from dataclasses import replace

import openpyxl  # type: ignore[import-untyped]
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import models_files, settings
from pipeline.rollup_records import GROUP_SEPARATOR, CarrySpread, ModelsFound, SpeedBand, Withheld
from tests.report.model_cases import YARD, alarm, category, effect, found, gains, row, steady
from tests.report.test_models_report import HOSTILE

DAY = dt.date(2026, 11, 25)
METRES = settings.load('units_shown = "metres"')
FORMULAS = ("=", "+", "-", "@", "\t", "\r")


def tables(*names: str) -> ModelsFound:
    """Make a page of models with these names, one model withheld, one band and two watches."""
    rows = [row(effect(name, 9 - i, 1, "better"), gains=gains()) for i, name in enumerate(names)]
    band = SpeedBand("slow", float("-inf"), 40.0, 9, (effect(names[0], 2),), ())
    hidden = Withheld("X", "few_customers", 3, 2, 20), Withheld("", "few_customers", 2, 1, 9, models=2)
    carries = {("driver", names[0]): CarrySpread(150, 170.25, 190.5, 211.75)}
    return found(category(*rows, bands=(band,), withheld=hidden), carries=carries, watches=(steady(used=23), alarm()))


def sheets(content: bytes) -> dict[str, list[list[object]]]:
    book = openpyxl.load_workbook(io.BytesIO(content))
    return {sheet.title: [[cell.value for cell in line] for line in sheet.iter_rows()] for sheet in book}


def lines(of: ModelsFound) -> list[dict[str, str]]:
    content = models_files.comma_separated(of)
    assert content.startswith(b"\xef\xbb\xbf")
    assert content.count(b"\r\n") >= 1
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


# --- the workbook -------------------------------------------------------------------------------------------------
def test_no_text_of_a_workbook_becomes_a_formula_a_link_or_a_number() -> None:
    names = (*HOSTILE, "12", "http://x.invalid", "mailto:x@x.invalid", "x" * 40_000)
    content = models_files.workbook(tables(*names), METRES, DAY)
    book = openpyxl.load_workbook(io.BytesIO(content))
    column = [cell.value for cell in next(iter(book["models"].iter_rows(max_row=1)))].index("model") + 1
    cells = [book["models"].cell(place, column) for place in range(2, 2 + len(names))]
    assert {cell.data_type for cell in cells if cell.value is not None} == {"s"}
    assert [cell.hyperlink for cell in cells if cell.hyperlink] == []
    assert {cell.value for cell in cells} >= {'=HYPERLINK("http://x.invalid","y")', "+1", "@cmd", "12", "x" * 32_000}
    assert not any(cell.data_type == "f" for sheet in book for line in sheet.iter_rows() for cell in line)


def test_a_workbook_says_everything_in_the_studios_units() -> None:
    of = tables("A", "B")
    yards, metres = (sheets(models_files.workbook(of, chosen, DAY)) for chosen in (settings.load(), METRES))
    assert list(yards) == ["models", "withheld", "bands", "bays", "about"]
    head, first, _ = yards["models"]
    a = dict(zip(head, first, strict=True))
    assert (a["clubs"], a["group"], a["model"], a["verdict"]) == ("driver", 1, "A", "better")
    counts = ("customers_compared", "customers", "customers_own_club", "shots", "tested_shots", "improved_of")
    assert [a[name] for name in counts] == [12, 20, 2, 160, 150, 18]
    assert [a[f"effect{name}_yd"] for name in ("", "_low", "_high")] == pytest.approx([9, 8, 10])
    assert [a[f"gain{name}_yd"] for name in ("", "_low", "_high", "_p10", "_p90")] == pytest.approx([4, 2, 6, -2, 10])
    assert a["carry_p50_yd"] == pytest.approx(190.5 / YARD)
    assert dict(zip(*metres["models"][:2], strict=True))["effect_m"] == pytest.approx(9 * YARD)
    assert yards["withheld"][1:] == [
        ["driver", "X", 1, 3, 2, 20, "few_customers"], ["driver", None, 2, 2, 1, 9, "few_customers"],
    ]  # fmt: skip
    slow = dict(zip(*yards["bands"][:2], strict=True))
    assert (slow["band"], slow["from_mps"], slow["below_mps"], slow["band_customers"]) == ("slow", None, 40, 9)
    assert [line[4] for line in yards["bays"][1:]] == ["drifting", "learning"]
    about = " ".join(str(line[0]) for line in yards["about"])
    assert "Worked out on 25 November 2026." in about
    assert "The best of many is partly lucky." in about


def test_the_same_workbook_has_the_same_bytes_and_its_day_in_it() -> None:
    first, again = (models_files.workbook(tables("A"), METRES, DAY) for _ in "12")
    assert first == again
    assert openpyxl.load_workbook(io.BytesIO(first)).properties.created == dt.datetime(2026, 11, 25)  # noqa: DTZ001


def test_a_workbook_of_nothing_can_be_opened() -> None:
    made = sheets(models_files.workbook(found(), settings.load('language = "de"'), DAY))
    assert [made[name] for name in ("models", "withheld", "bands", "bays")] == [[], [], [], []]
    assert made["about"][1] == ["Schlägermodelle, März\u00a02026 bis November\u00a02026"]


# --- CSV and Parquet ----------------------------------------------------------------------------------------------
@given(names=st.lists(st.text(max_size=30), min_size=1, max_size=4, unique=True))
def test_no_text_of_the_csv_begins_a_formula_and_none_is_lost(names: list[str]) -> None:
    said = [line["model"] for line in lines(tables(*names))]
    assert [text for text in said if text.startswith(FORMULAS)] == []
    assert [text.removeprefix("'") if text[1:].startswith(FORMULAS) else text for text in said] == [
        name.removeprefix("'") if name[1:].startswith(FORMULAS) else name for name in names
    ]


def test_csv_and_parquet_say_the_same_in_metres() -> None:
    of = tables("A", "=B", "-C")
    read = pl.read_parquet(io.BytesIO(models_files.parquet(of)))
    assert read["model"].to_list() == ["A", "=B", "-C"]
    assert [line["model"] for line in lines(of)] == ["A", "'=B", "'-C"]
    for name in ("effect_m", "effect_low_m", "effect_high_m", "gain_m", "improved_share"):
        assert [float(line[name]) for line in lines(of)] == pytest.approx(read[name].to_list())
    assert read["effect_m"][0] == pytest.approx(9 * YARD)
    assert (read["carry_p10_m"].to_list(), lines(of)[1]["carry_p10_m"]) == ([170.25, None, None], "")
    assert models_files.parquet(of) == models_files.parquet(of)


def test_a_table_has_the_same_columns_whatever_was_found() -> None:
    empty, full = models_files.frame(found()), models_files.frame(tables("A"))
    assert empty.schema == full.schema
    assert [name for name in full.columns if re.search(r"(effect|gain|carry)", name) and full[name].dtype == pl.Float64]
    bare = found(category(row(effect("A"))))
    assert models_files.frame(bare).schema == full.schema
    assert models_files.frame(bare)["gain_customers"].to_list() == [0]


def test_what_divides_the_kinds_has_columns_of_its_own() -> None:
    divided = category(row(effect("A")), name=f"iron 7{GROUP_SEPARATOR}9.5{GROUP_SEPARATOR}2026-03")
    table = models_files.frame(replace(found(divided), by=("loft", "month")))
    assert table.columns[:4] == ["clubs", "loft", "month", "group"]
    assert table.row(0)[:3] == ("iron 7", "9.5", "2026-03")
