"""What is kept at the desk, in a real browser on the real program: a file set back, the settings, the answers."""

import io
import json
import re
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pypdf
import pytest

from pipeline import settings as settings_module
from pipeline import studio as studio_module
from pipeline.inbox import Inbox
from pipeline.ledger import Ledger
from pipeline.studio import Studio
from tests.test_desk_browser import at_the_desk, browser, wait_for

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Locator, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
LONG_MS = 60_000  # a loaded machine
NO_TABLE = "Thank you for your visit.\nWe look forward to seeing you again.\n"
REASON = "This is no table of shots; it looks like text."
TO_DO = "Export the shots as CSV text (comma, semicolon or tab), then drop that file."
CARRIES = [200 + number for number in range(8)]
YARD_M = 0.9144
CHANGED_LINES = [
    ('name = "South bay"  # as on the door', 'name = "North bay"  # as on the door'),
    ('# language = "en"', 'language = "de"'),
    ("# altitude_m = 0", "altitude_m = 1200"),
    ("# smallest_difference_yd = 5", "smallest_difference_yd = 4.5"),
]


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio_module.create(tmp_path / "studio")


def shots(speed: int = 140, carry: str = "Carry (yd)") -> str:
    """Write a file of eight shots; with another speed it is another visit with the same carries."""
    rows = "".join(f"Own driver,{speed + number % 3},{long}\n" for number, long in enumerate(CARRIES))
    return f"Club,Ball speed (mph),{carry}\n{rows}"


def reported(place: Studio, name: str) -> Path:
    """Give the folder of a visit's report."""
    [folder] = [path for path in place.outbox.iterdir() if path.name.endswith(f" {name}")]
    return folder


def record(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "fitting.json").read_text(encoding="utf-8"))
    return found


def carries(folder: Path) -> list[float]:
    return sorted(shot["measured"]["carry_m"] for shot in record(folder)["shots"])


def words_of(pdf: Path) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def contents(folder: Path) -> dict[str, bytes]:
    """Give all files of a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def wait_for_report(page: "Page", home: str, name: str) -> None:
    row = page.get_by_role("row").filter(has=page.get_by_role("link", name=name, exact=True))
    for _ in range(200):
        page.goto(home)
        if row.get_by_text("has its report").count():
            return
        page.wait_for_timeout(300)
    pytest.fail(f"no report of {name}\n{page.content()}")


def of(page: "Page", role: Literal["button", "link"], words: str, name: str) -> "Locator":
    """Give what stands beside one visit or answer, as a screen reader names it."""
    return page.get_by_role(role, name=re.compile(rf"{words} ?: {name}"))


def said(page: "Page") -> str:
    return page.locator("p.said[role=status]").inner_text()


@contextmanager
def with_script(browser: "Browser", entered: "Page") -> "Iterator[Page]":
    """Give a page of the same session that runs script; at its end nothing was said to the console."""
    context = browser.new_context(storage_state=entered.context.storage_state())
    page = context.new_page()
    heard: list[str] = []
    page.on("console", lambda message: heard.append(message.text))
    page.on("pageerror", lambda fault: heard.append(str(fault)))
    yield page
    context.close()
    assert heard == []


# --- a file that was set back -----------------------------------------------------------------------------------------
def test_a_file_set_back_is_mended_handed_in_and_settled(browser: "Browser", place: Studio) -> None:
    given = place.root / "tuesday.csv"
    with at_the_desk(browser, place) as (page, home):
        hand_in(page, given, NO_TABLE)
        wait_for(page, "was set back")
        assert page.locator("#top").get_by_text("1 thing needs you.").count() == 1
        assert page.locator("article h3").inner_text() == "tuesday was set back"
        assert page.locator("article p").all_inner_texts()[:2] == [REASON, TO_DO]
        page.get_by_role("link", name="tuesday", exact=True).first.click()
        why = page.get_by_role("region", name="Why it was set back")
        why.get_by_text(REASON).wait_for()
        assert why.locator("p").all_inner_texts()[:2] == [REASON, TO_DO]
        page.goto(home)
        hand_in(page, given, shots())  # as it says: exported anew, and dropped
        assert said(page) == "“tuesday (2).csv” is in the drop folder. The report comes by itself."
        wait_for_report(page, home, "tuesday (2)")
        folder = reported(place, "tuesday (2)")
        assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
        assert carries(folder) == pytest.approx([long * YARD_M for long in CARRIES])
        assert page.locator("article h3").all_inner_texts() == ["tuesday was set back"]  # it may be another's file
        of(page, "button", "It is settled", "tuesday").click()
        assert said(page) == "“tuesday” is settled."
        assert page.locator("#top").get_by_text("Nothing needs you.").count() == 1
        assert page.get_by_role("heading", name="Needs you").count() == 0
        assert list(place.set_back.iterdir()) == []
        find_what_is_settled(page)
    assert (place.inbox / "tuesday.csv").read_text() == NO_TABLE
    assert (place.inbox / "tuesday (2).csv").read_text() == shots()


def hand_in(page: "Page", given: Path, content: str) -> None:
    given.write_text(content)
    page.get_by_label("Drop files on this field").set_input_files(given)
    page.get_by_role("button", name="Hand in").click()
    page.locator("p.said[role=status]").wait_for()


def find_what_is_settled(page: "Page") -> None:
    """Look among what was set back for what is settled, and have it tried once more from its page."""
    page.get_by_label("Which", exact=True).select_option("set back")
    page.get_by_role("button", name="Show", exact=True).click()
    page.get_by_text("1 visit: set back.").wait_for()
    assert page.locator("tbody th").all_inner_texts() == ["tuesday"]
    assert page.get_by_role("cell", name="was set back, settled", exact=True).count() == 1
    page.get_by_role("link", name="tuesday", exact=True).click()
    page.get_by_role("heading", name="Set back, and settled").wait_for()
    assert page.get_by_role("button", name="It is settled").count() == 0
    of(page, "button", "Try again", "tuesday").click()
    page.get_by_text("“tuesday” is tried again.").wait_for()
    for _ in range(200):
        page.reload()
        if page.get_by_role("heading", name="Why it was set back").count():
            break
        page.wait_for_timeout(300)
    assert page.get_by_text(REASON).count() == 1


def test_with_script_a_file_set_back_comes_up_by_itself_and_is_tried_again_for_nothing(
    browser: "Browser", place: Studio
) -> None:
    with at_the_desk(browser, place) as (entered, home), with_script(browser, entered) as page:
        page.goto(home)
        page.get_by_text("Nothing needs you.").wait_for()
        page.get_by_text("Nothing has come yet.").wait_for()
        (place.inbox / "tuesday.csv").write_text(NO_TABLE)
        page.get_by_role("heading", name="tuesday was set back").wait_for(timeout=LONG_MS)  # nobody loaded it anew
        assert page.locator("article p").all_inner_texts()[:2] == [REASON, TO_DO]
        page.get_by_role("row").get_by_text("was set back").wait_for(timeout=LONG_MS)
        page.locator("#top").get_by_text("1 thing needs you.").wait_for(timeout=LONG_MS)
        (place.inbox / "wednesday.csv").write_text(NO_TABLE.upper())
        page.locator("#top").get_by_text("2 things need you.").wait_for(timeout=LONG_MS)
        page.get_by_role("row").get_by_role("link", name="wednesday", exact=True).wait_for(timeout=LONG_MS)
        assert page.locator("article").count() == 1  # what somebody may be answering stays as it is
        before = contents(place.set_back)
        assert set(before) == {f"{day}.csv{note}" for day in ("tuesday", "wednesday") for note in ("", ".txt")}
        page.get_by_role("link", name="tuesday", exact=True).first.click()
        with page.expect_navigation():
            of(page, "button", "Try again", "tuesday").click()
        page.get_by_role("heading", name="Why it was set back").wait_for(timeout=LONG_MS)  # it follows by itself
        assert page.get_by_text(REASON).count() == page.get_by_text(TO_DO).count() == 1
        assert page.get_by_text("“Try again” reads the same file once more, as it came.").count() == 1
        assert contents(place.set_back) == before
        assert (place.work / "log.txt").read_text(encoding="utf-8").count(" was set back (code ") == 3
        assert (place.inbox / "tuesday.csv").read_text() == NO_TABLE
        assert list(place.outbox.iterdir()) == []


def test_a_visit_whose_cause_went_away_has_its_report_when_it_is_tried_again(browser: "Browser", place: Studio) -> None:
    """Three times the power failed while a visit was being worked on: a file that is well, set back."""
    (place.inbox / "tuesday.csv").write_text(shots())
    break_off_three_times(place)
    with at_the_desk(browser, place) as (page, home):
        wait_for(page, "was set back")
        assert page.get_by_text("Working on it stopped the program 3 times.").count() == 1
        assert list(place.outbox.iterdir()) == []
        of(page, "button", "Try again", "tuesday").click()
        assert said(page) == "“tuesday” is tried again."
        wait_for_report(page, home, "tuesday")
        assert page.get_by_text("Nothing needs you.").count() == 1
        folder = reported(place, "tuesday")
        assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
        assert carries(folder) == pytest.approx([long * YARD_M for long in CARRIES])
        assert list(place.set_back.iterdir()) == []


def break_off_three_times(place: Studio) -> None:
    ledger = Ledger(place.work / "ledger.sqlite3")
    inbox = Inbox(place, settings_module.load(), ledger, lambda _: None)
    inbox.settled()
    inbox.clock = lambda: 1e9  # the file has stood still for long
    [arrival] = inbox.settled()
    taken = inbox.take(arrival)
    assert taken
    for _ in range(3):
        ledger.move(taken, "processing")
        inbox.recover()  # the start after it
    ledger.close()


def test_a_slip_in_a_visits_facts_is_mended_where_the_page_says(browser: "Browser", place: Studio) -> None:
    visit = place.inbox / "aspen"
    visit.mkdir()
    (visit / "shots.csv").write_text(shots())
    (visit / "visit.toml").write_text('custmer = "Aspen"\n')
    with at_the_desk(browser, place) as (page, _):
        wait_for(page, "was set back")
        assert page.locator("article p").all_inner_texts()[:2] == [
            "aspen/visit.toml, line 1: unknown key 'custmer'. Did you mean 'customer'?",
            "Correct visit.toml in the visit's folder in inbox/ and save it: that folder is read anew.",
        ]
        (visit / "visit.toml").write_text('customer = "Aspen"\n')
        wait_for(page, "has its report")
        assert record(reported(place, "aspen"))["visit"]["customer"] == "Aspen"
        of(page, "button", "It is settled", "aspen").click()
        assert said(page) == "“aspen” is settled."
        assert page.get_by_text("Nothing needs you.").count() == 1
        assert page.locator("tbody td:nth-child(3)").all_inner_texts() == [
            "has its report, letter not sent yet",
            "was set back, settled",
        ]


# --- settings ---------------------------------------------------------------------------------------------------------
def test_a_changed_setting_reaches_the_next_report_and_no_other(browser: "Browser", place: Studio) -> None:
    file = place.root / "studio.toml"
    kept = file.read_text(encoding="utf-8").replace(
        '# name = "Fitting studio"', '# our own words\nname = "South bay"  # as on the door'
    )
    file.write_text(kept, encoding="utf-8")
    (place.inbox / "aspen.csv").write_text(shots())
    with at_the_desk(browser, place) as (page, home):
        wait_for_report(page, home, "aspen")
        aspen = reported(place, "aspen")
        before = contents(aspen)
        page.get_by_role("link", name="Settings").click()
        page.get_by_label("Name of the studio").fill("North bay")
        page.get_by_label("Language of report and letter").select_option("de")
        page.get_by_label("Height above the sea (m)").fill("1200")
        refuse_and_mend(page, file, kept)
        assert said(page) == "Saved. New reports have it; one made before has it when its next version is made."
        expected = kept
        for old, new in CHANGED_LINES:
            assert expected.count(f"\n{old}\n") == 1
            expected = expected.replace(f"\n{old}\n", f"\n{new}\n")
        assert file.read_text(encoding="utf-8") == expected  # and every remark stays
        (place.inbox / "birch.csv").write_text(shots(speed=141))
        wait_for_report(page, home, "birch")
        assert contents(aspen) == before
        has_the_settings(reported(place, "birch"))
        page.get_by_role("link", name="aspen", exact=True).click()
        page.get_by_role("button", name="Save and make the next version").click()
        assert said(page) == "Version 2 is made. The one before is kept."
        has_the_settings(aspen)
        now = contents(aspen)
        assert {name: now[f"earlier/version 1/{name}"] for name in before} == before
    old = words_of(aspen / "earlier" / "version 1" / "report.pdf")
    assert ("South bay" in old, "North bay" in old) == (True, False)
    assert "Driver fitting" in old


def refuse_and_mend(page: "Page", file: Path, kept: str) -> None:
    """Save a word where a number is wanted, which changes nothing, and then the number."""
    number = page.get_by_label("Smallest difference that matters (yd)")
    number.fill("four")
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_role("alert").wait_for()
    assert page.get_by_role("alert").get_by_role("heading").inner_text() == "Nothing was saved yet: one field needs you"
    assert (number.input_value(), number.get_attribute("aria-invalid")) == ("four", "true")
    beside = str(number.get_attribute("aria-describedby")).split()[-1]
    assert page.locator(f"#{beside}").inner_text() == "A number is wanted, decimals with a dot."
    assert page.get_by_label("Name of the studio").input_value() == "North bay"
    assert page.get_by_label("Language of report and letter").input_value() == "de"
    assert page.get_by_label("Height above the sea (m)").input_value() == "1200"
    assert file.read_text(encoding="utf-8") == kept
    assert page.locator("header .studio").inner_text() == "South bay"
    page.get_by_role("alert").get_by_role("link", name="Smallest difference that matters (yd)").click()
    number.fill("4.5")
    page.get_by_role("button", name="Save", exact=True).click()
    page.locator("p.said[role=status]").wait_for()
    assert page.locator("header .studio").inner_text() == "North bay"


def has_the_settings(folder: Path) -> None:
    words = words_of(folder / "report.pdf")
    assert ("North bay" in words, "South bay" in words) == (True, False)
    assert "Driver-Fitting" in words
    found = record(folder)
    assert found["air"]["altitude_m"] == 1200
    assert found["smallest_difference_m"] == pytest.approx(4.5 * YARD_M)


# --- answers ----------------------------------------------------------------------------------------------------------
def test_an_answer_is_forgotten_and_the_next_file_asks_again(browser: "Browser", place: Studio) -> None:
    (place.inbox / "aspen.csv").write_text(shots(carry="Carry"))
    with at_the_desk(browser, place) as (page, home):
        answer(page, "aspen", "yd")
        wait_for_report(page, home, "aspen")
        (place.inbox / "birch.csv").write_text(shots(speed=141, carry="Carry"))
        wait_for_report(page, home, "birch")  # which asked nothing
        before = {name: contents(reported(place, name)) for name in ("aspen", "birch")}
        for name in ("aspen", "birch"):
            assert carries(reported(place, name)) == pytest.approx([long * YARD_M for long in CARRIES])
        forget(page)
        (place.inbox / "cedar.csv").write_text(shots(speed=142, carry="Carry"))
        answer(page, "cedar", "m")
        wait_for_report(page, home, "cedar")
        assert carries(reported(place, "cedar")) == pytest.approx(CARRIES)
        assert {name: contents(reported(place, name)) for name in before} == before
        page.get_by_role("link", name="Settings").click()
        assert page.locator("#answers ~ article dd").first.inner_text() == "in m"


def answer(page: "Page", name: str, unit: str) -> None:
    """Answer what a file asks, by one click; the page that follows asks nothing any more."""
    wait_for(page, "waits for your answer")
    assert page.locator("article h3").all_inner_texts() == [f"{name} waits for your answer"]
    question = page.get_by_role("group", name="Which unit has Carry?")
    assert question.get_by_role("button").all_inner_texts() == ["m", "yd"]
    question.get_by_role("button", name=unit, exact=True).click()
    assert said(page) == f"Remembered for every file with these headings. “{name}” is tried again."
    assert page.get_by_text("waits for your answer").count() == 0
    assert page.get_by_text("Nothing needs you.").count() == 1


def forget(page: "Page") -> None:
    """Forget the only answer, after having thought better of it once."""
    page.get_by_role("link", name="Settings").click()
    page.get_by_role("link", name="What was answered about shot files").click()
    known = page.locator("#answers ~ article")
    known.first.wait_for()
    assert known.locator("h3").all_inner_texts() == ["aspen"]
    assert known.locator("dt").first.inner_text() == "Column “Carry”"
    assert known.locator("dd").first.inner_text() == "in yd"
    of(page, "link", "Forget this answer", "aspen").click()
    page.get_by_role("link", name="Keep it").click()
    of(page, "link", "Forget this answer", "aspen").click()
    page.get_by_role("heading", name="Forget “aspen”?").wait_for()
    page.get_by_role("button", name="Forget it").click()
    assert said(page) == "Forgotten: “aspen”. The next file with these headings is asked about."
    assert known.count() == 0
    assert page.get_by_text("No answer is kept.").count() == 1
