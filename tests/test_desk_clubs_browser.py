"""How clubs do, in a real browser on the real program: filters and files say the same, a bay that drifts is named."""

import csv
import random
import re
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import openpyxl  # type: ignore[import-untyped]
import pypdf
import pytest

from pipeline import studio as studio_module
from pipeline.cli import main
from pipeline.studio import Studio
from tests.test_desk_browser import FAULTS, at_the_desk, browser

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
VISITS, STEADY, SHOTS = 74, 60, 7  # the last 14 visits are hit before a device that reads 3 % too much ball speed
DRIVERS = {"Own driver": 0.0, "Head K": 8.0, "=1+1": 0.5, "Head M": -8.5}  # carry over the customer's own club, yd
IRONS = {"7 iron": 0.0, "7 iron K": 9.0, "7 iron L": -9.0}
YARD_M = 0.9144


@dataclass(frozen=True)
class Row:
    """A model's row as every place must have it: customers, shots, and its effect with range in yd."""

    model: str
    customers: int
    shots: int
    effect: tuple[float, float, float]

    @property
    def said(self) -> str:
        signed = [re.sub(r"[+-](?=0\.0$)", "", f"{value:+.1f}").replace("-", "−") for value in self.effect]
        middle, low, high = signed
        return f"{self.model} {self.customers} {self.shots} {middle} ({low} to {high})"


def visit(number: int) -> tuple[str, str]:
    """Invent a visit: its shots, and its visit.toml. Two and a half weeks a month, and irons at every third visit."""
    draw = random.Random(number)  # noqa: S311 - figures for a test
    clubs = {**DRIVERS, **(IRONS if number % 3 == 0 else {})}
    over = 1.03 if number >= STEADY else 1.0
    lines = ["Club,Club speed (mph),Ball speed (mph),Launch angle (deg),Spin rate (rpm),Carry (yd)"]
    for club, more in clubs.items():
        iron = "iron" in club
        for _ in range(SHOTS):
            speed = (80 if iron else 100) + 2 * (number % 5) + draw.gauss(0, 1)
            ratio = (1.33 if iron else 1.47) + draw.gauss(0, 0.004) - abs(draw.gauss(0, 0.01))
            carry = (150 if iron else 215) + 2 * (number % 5) + more + draw.gauss(0, 4)
            launch, spin = (18, 6500) if iron else (12, 2600)
            figures = (speed, speed * ratio * over, draw.gauss(launch, 0.5), draw.gauss(spin, 150), carry)
            lines.append(",".join([club, *(f"{figure:.1f}" for figure in figures)]))
    facts = f'customer = "Customer {number:04}"\ndate = 2026-{1 + number // 14:02}-{1 + number % 14:02}\nbay = "2"\n'
    facts += 'own_club = "Own driver"\n'
    for club in clubs:
        head = f'head = "{club}"\nloft_deg = {9.5 + number % 2}\n' if "Own" not in club else ""
        facts += f'[[build]]\nlabel = "{club}"\ncategory = "{"iron" if "iron" in club else "driver"}"\n{head}'
    return "\n".join(lines) + "\n", facts


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Give a studio that has read its old exports; the tests only look at it."""
    made = studio_module.create(tmp_path_factory.mktemp("clubs") / "studio")
    for number in range(VISITS):
        folder = made.inbox / f"visit {number}"
        folder.mkdir()
        shots, facts = visit(number)
        (folder / "shots.csv").write_text(shots, encoding="utf-8")
        (folder / "visit.toml").write_text(facts, encoding="utf-8")
    assert main(["process", str(made.root), "--backlog"]) == 0
    return made


# --- ways of reading --------------------------------------------------------------------------------------------------
def text(words: str) -> str:
    return " ".join(words.split())


def ask(page: "Page", since: str = "", until: str = "", kind: str = "") -> None:
    page.get_by_label("From month").fill(since)
    page.get_by_label("To month").fill(until)
    page.get_by_label("Kind of club").fill(kind)
    page.get_by_role("button", name="Show").click()


def answer(page: "Page", words: str) -> str:
    """Wait for what the answer says; gives all of it."""
    section = page.get_by_role("region", name="The answer")
    section.get_by_text(words).first.wait_for()
    return text(section.inner_text())


def on_the_page(page: "Page") -> list[str]:
    """Give the rows of all tables of effects, as they are printed: model, customers, shots, effect with range."""
    rows = page.locator("table.effects tbody tr").all()
    return [text(" ".join(row.locator("th, td").all_inner_texts()[:4])) for row in rows]


def download(page: "Page", name: str, to: Path) -> Path:
    with page.expect_download() as waiting:
        page.get_by_role("link", name=name, exact=True).click()
    to.mkdir(exist_ok=True)
    kept = to / waiting.value.suggested_filename
    waiting.value.save_as(kept)
    return kept


def of_table(path: Path) -> list[Row]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return [row_of(line, "m", YARD_M) for line in csv.DictReader(file)]


def of_workbook(path: Path) -> list[Row]:
    head, *lines = openpyxl.load_workbook(path)["models"].iter_rows()
    assert {cell.data_type for line in lines for cell in line} <= {"s", "n"}  # no formula among them
    names = [cell.value for cell in head]
    return [row_of(dict(zip(names, [cell.value for cell in line], strict=True)), "yd", 1.0) for line in lines]


def row_of(found: dict[str, object], unit: str, size: float) -> Row:
    low, middle, high = (float(str(found[f"{name}_{unit}"])) / size for name in ("effect_low", "effect", "effect_high"))
    compared, shots = (int(str(found[name])) for name in ("customers_compared", "shots"))
    return Row(str(found["model"]), compared, shots, (middle, low, high))


@contextmanager
def at_a_slow_desk(browser: "Browser", place: Studio) -> "Iterator[tuple[Page, str]]":
    with at_the_desk(browser, place) as (page, home):
        page.set_default_timeout(60_000)
        yield page, home


# --- the walks --------------------------------------------------------------------------------------------------------
def test_a_filter_holds_for_page_picture_and_every_file(browser: "Browser", place: Studio, tmp_path: Path) -> None:
    with at_a_slow_desk(browser, place) as (page, _):
        walk(page, tmp_path)


def test_the_same_with_script(browser: "Browser", place: Studio, tmp_path: Path) -> None:
    with at_a_slow_desk(browser, place) as (first, home):
        context = browser.new_context(storage_state=first.context.storage_state())
        page = context.new_page()
        page.set_default_timeout(60_000)
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda fault: said.append(str(fault)))
        page.goto(home)
        walk(page, tmp_path)
        page.get_by_role("link", name="See the whole page").click()
        shots = page.locator("table.effects").get_by_role("button", name="Shots")
        shots.click()
        assert page.locator("table.effects th[aria-sort]").inner_text().startswith("Shots")
        counts = [int(row.split(" (")[0].split()[-2]) for row in on_the_page(page)]
        assert counts == sorted(counts, reverse=True)
        assert said == []
        context.close()


def walk(page: "Page", folder: Path) -> None:
    """From the first page: all clubs, then drivers of two months, with every file of both."""
    page.get_by_role("link", name="How clubs do").click()
    assert f"Customers behind this: {VISITS}." in answer(page, "Of 6 models compared")
    page.wait_for_load_state()  # the style sheet, too
    assert page.evaluate(FAULTS) == []
    everything = compared(page, folder / "all")
    ask(page, "2026-02", "2026-03", "driver")
    found = answer(page, "Of 3 models compared")
    assert "Customers behind this: 28." in found
    assert "Iron" not in found
    assert page.get_by_label("From month").input_value() == "2026-02"
    assert page.get_by_label("Kind of club").input_value() == "driver"
    some = compared(page, folder / "some")
    assert [row.split(" ")[0] for row in some] == ["Head", "=1+1", "Head"]
    assert len(everything) == 6
    assert not set(some) & set(everything)
    assert sorted(path.name for path in folder.glob("*/*")) == [
        *(f"club-models-2026-01-to-2026-06.{ending}" for ending in ("csv", "pdf", "xlsx")),
        *(f"club-models-driver-2026-02-to-2026-03.{ending}" for ending in ("csv", "pdf", "xlsx")),
    ]


def compared(page: "Page", folder: Path) -> list[str]:
    """Hold page, picture, table, workbook and paper of one filter against each other; gives the page's rows."""
    table = of_table(download(page, "Table (CSV)", folder))
    book = of_workbook(download(page, "Workbook", folder))
    paper = pypdf.PdfReader(download(page, "On paper (PDF)", folder))
    page.get_by_role("link", name="See the whole page").click()
    page.locator("table.effects").first.wait_for()
    rows = on_the_page(page)
    assert [row.said for row in book] == rows
    assert [row.said.replace("=1+1", "'=1+1") for row in book] == [row.said for row in table]
    printed = text(" ".join(sheet.extract_text() for sheet in paper.pages))
    told = page.locator("svg").all_text_contents()
    for row in book:
        assert row.said in printed
        _, _, figures = row.said.partition(f"{row.model} {row.customers} {row.shots} ")
        assert any(row.model in words and figures.split(" ")[0] in words for words in told)
    page.go_back()
    page.get_by_role("button", name="Show").wait_for()
    return rows


def test_parted_by_loft_each_loft_has_its_own_answer(browser: "Browser", place: Studio) -> None:
    with at_a_slow_desk(browser, place) as (page, home):
        page.goto(f"{home}/clubs")
        page.get_by_label("Kind of club").fill("driver")
        page.get_by_label("loft", exact=True).check()
        page.get_by_role("button", name="Show").click()
        found = answer(page, "Of 6 models compared")
        assert "Driver, Loft 9.5°: Likely farther" in found
        assert "Driver, Loft 10.5°: Likely farther" in found
        assert page.get_by_label("loft", exact=True).is_checked()
        page.get_by_role("link", name="See the whole page").click()
        page.locator("table.effects").first.wait_for()
        half = VISITS // 2  # one loft on even visits, the other one on odd ones
        assert [f" {half} " in row for row in on_the_page(page)] == [True] * 6


def test_a_bay_that_drifts_is_named_on_top_and_on_the_whole_page(browser: "Browser", place: Studio) -> None:
    with at_a_slow_desk(browser, place) as (page, home):
        page.goto(f"{home}/clubs")
        alarm = page.get_by_role("region", name="Look at these bays")
        first = alarm.get_by_role("listitem").filter(has_text="ball/club ratio")
        told = text(first.inner_text())
        day = r"since \d{1,2} (April|May) 2026"
        assert re.match(
            rf"Bay 2 reads the ball/club ratio higher {day}: by about 0\.04\d \([23]\.\d %\), seen in", told
        )
        assert told.endswith("visits. Check its calibration.")
        assert alarm.bounding_box()["y"] < page.get_by_label("From month").bounding_box()["y"]  # type: ignore[index]
        assert "steady?” on the whole page before you trust" in answer(page, "Readings of a bay have drifted")
        page.get_by_role("link", name="See the whole page").click()
        said = [text(row) for row in page.locator("table.watches tbody tr td:first-child").all_inner_texts()]
        assert said[0] == told or said[1] == told
        assert f"Bay 2, spin: steady over {VISITS} visits." in said


def test_what_is_no_month_is_said_and_what_was_typed_stays(browser: "Browser", place: Studio) -> None:
    with at_a_slow_desk(browser, place) as (page, home):
        page.goto(f"{home}/clubs")
        ask(page, "march", "2026-03", "driver")
        page.get_by_role("alert").get_by_text("“march” is no month such as 2026-03.").wait_for()
        kept = [page.get_by_label(name).input_value() for name in ("From month", "To month", "Kind of club")]
        assert kept == ["march", "2026-03", "driver"]
        assert page.get_by_role("region", name="The answer").count() == 0
        page.wait_for_load_state()  # the style sheet, too
        assert page.evaluate(FAULTS) == []
        ask(page, "2026-04", "2026-03", "driver")
        page.get_by_role("alert").get_by_text("no month is between them").wait_for()
        ask(page, "2027-01")
        page.get_by_role("alert").get_by_text(
            "No shot that counts is kept since 2027-01. Kept are driver, iron"
        ).wait_for()
        ask(page, "2026-03", "2026-03", "driver")
        answer(page, "Customers behind this: 14.")
        assert page.get_by_role("alert").count() == 0


def test_a_studio_without_shots_says_so(browser: "Browser", tmp_path: Path) -> None:
    with at_a_slow_desk(browser, studio_module.create(tmp_path / "studio")) as (page, _):
        page.get_by_role("link", name="How clubs do").click()
        page.get_by_text("No shots are kept yet. This page fills as visits get their reports.").wait_for()
        assert page.get_by_role("region", name="Look at these bays").count() == 0
        assert page.get_by_role("link", name="PDF").count() == 0
        page.wait_for_load_state()  # the style sheet, too
        assert page.evaluate(FAULTS) == []
