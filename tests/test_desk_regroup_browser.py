"""Visits split and joined in a real browser on the real program, from files dropped before the start to the PDFs."""

import io
import json
import re
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from pypdf import PdfReader

from pipeline import studio as studio_module
from pipeline.studio import Studio
from tests.test_desk_browser import FAULTS, at_the_desk, browser

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
LONGEST_MS = 60_000  # on a busy machine
YARD_M = 0.9144
HEAD = "Club,Ball speed (mph),Launch angle (deg),Spin (rpm),Carry (yd)\n"
ASPEN = 'customer = "Customer 0007"\nemail = "c7@customer.example"\nhand = "left"\nnotes = "Mind the grip."\n'
BIRCH = 'customer = "Customer 0008"\nemail = "c8@customer.example"\nbay = "2"\nnotes = "Mind the stance."\n'

Shots = list[tuple[str, int, float]]  # file, line, carry in yards


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio_module.create(tmp_path / "studio")


def shots(club: str, first: int) -> str:
    """Invent eight shots, each known by its carry: so many yards, and one more from shot to shot."""
    return "".join(f"{club},{140 + i % 3}.5,{11 + i % 2},{2600 + 20 * (i % 4)},{first + i}\n" for i in range(8))


def of_file(name: str, first: int, line: int = 2) -> Shots:
    """Give what a report must tell of eight such shots that begin on a line of a file."""
    return [(name, line + i, float(first + i)) for i in range(8)]


def word_on(file: str, line: int) -> str:
    return f'[[shot]]\nfile = "{file}"\nline = {line}\ncounts = false\nreason = "talked to"\n'


def drop(place: Studio, name: str, files: dict[str, str]) -> None:
    folder = place.inbox / name
    folder.mkdir()
    for file, content in files.items():
        (folder / file).write_text(content, encoding="utf-8", newline="")


# --- what lies in outbox/ ---------------------------------------------------------------------------------------------
def report(place: Studio, name: str) -> dict[str, Any]:
    """Read what the only report of a visit of that name says."""
    every = [path / "fitting.json" for path in place.outbox.iterdir() if (path / "fitting.json").exists()]
    found = [json.loads(path.read_text(encoding="utf-8")) for path in every]
    [one] = [document for document in found if document["visit"]["name"] == name]
    return dict(one)


def former_report(place: Studio, name: str) -> dict[str, Any]:
    """Read what the report said that was put aside; nothing else may lie on top of its folder."""
    [folder] = [path for path in place.outbox.iterdir() if path.name.endswith(f" {name} (replaced)")]
    assert sorted(path.name for path in folder.iterdir()) == ["earlier", "replaced.txt"]
    return dict(json.loads((folder / "earlier" / "version 1" / "fitting.json").read_text(encoding="utf-8")))


def folders(place: Studio) -> list[str]:
    return sorted(path.name.split(" ", 1)[1] for path in place.outbox.iterdir())


def told(document: dict[str, Any]) -> Shots:
    """Give every shot of a report, as often as it stands there."""
    rows = document["shots"]
    return sorted((row["file"], row["line"], round(row["measured"]["carry_m"] / YARD_M, 3)) for row in rows)


def measured(*documents: dict[str, Any]) -> list[str]:
    """Give all that was measured of the shots of some reports."""
    return sorted(json.dumps(row["measured"], sort_keys=True) for document in documents for row in document["shots"])


def said_by_staff(document: dict[str, Any]) -> list[tuple[str, int, str]]:
    """Give the shots staff set aside."""
    rows = [row for row in document["shots"] if row["decided_by"] == "staff" and row["fate"] != "counted"]
    return [(row["file"], row["line"], row["reason"]) for row in rows]


def text_of(page: "Page", home: str) -> str:
    """Fetch the PDF of the visit whose page is open, and give its words."""
    link = page.get_by_role("link", name="The report itself (PDF)").get_attribute("href")
    content = page.request.get(f"{home}{link}").body()
    assert content.startswith(b"%PDF-")
    return " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(content)).pages).split())


# --- walking ----------------------------------------------------------------------------------------------------------
@contextmanager
def walked(browser: "Browser", place: Studio, *, script: bool, but: str = "") -> "Iterator[tuple[Page, str]]":
    """Walk the desk with script on or off; nothing may be said to the console but that a form was refused."""
    with at_the_desk(browser, place) as (entered, home):
        context = browser.new_context(java_script_enabled=script, storage_state=entered.context.storage_state())
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda fault: said.append(str(fault)))
        page.goto(home)
        yield page, home
        context.close()
        assert [text for text in said if not (but and re.search(but, text))] == []


def wait_for_reports(page: "Page", home: str, names: list[str]) -> None:
    """Load the list anew until it has just these visits, each with its report."""
    for _ in range(300):
        page.goto(home)
        if page.get_by_text("has its report").count() == len(names):
            break
        page.wait_for_timeout(300)
    assert page.get_by_text("has its report").count() == len(names)
    assert sorted(page.locator("tbody th").all_inner_texts()) == sorted(names)


def open_visit(page: "Page", home: str, name: str) -> str:
    """Go from the list to a visit's page; gives its address there."""
    page.goto(home)
    page.get_by_role("link", name=name, exact=True).click()
    page.get_by_role("heading", name=name, exact=True).wait_for(timeout=LONGEST_MS)
    return page.url.removeprefix(home)


def open_splitting(page: "Page", home: str, name: str) -> str:
    address = open_visit(page, home, name)
    page.get_by_text("This is not one visit").click()
    return address


def split(page: "Page") -> None:
    page.get_by_role("button", name="Split it").click()
    page.locator("p.said[role=status]").get_by_text("is two visits now").wait_for(timeout=LONGEST_MS)


def in_its_place(page: "Page") -> dict[str, str]:
    """Give what took the place of the visit whose page is open: name → address."""
    links = page.get_by_role("region", name="What took its place").get_by_role("link").all()
    return {link.inner_text(): str(link.get_attribute("href")) for link in links}


def made_from(page: "Page") -> dict[str, str]:
    links = page.locator("p", has_text="On the desk it was made from").get_by_role("link").all()
    return {link.inner_text(): str(link.get_attribute("href")) for link in links}


def counts_no_more(page: "Page", home: str, former: str, now: dict[str, str]) -> None:
    """Look at the page of a former visit: it says what happened, leads on, and has no report to give any more."""
    page.goto(home + former)
    page.get_by_text("It was split or joined; other visits took its place.").wait_for(timeout=LONGEST_MS)
    assert in_its_place(page) == now
    for no_more in ("This is not one visit", "Earlier visits"):
        assert page.get_by_text(no_more).count() == 0
    assert page.get_by_role("link", name="The report itself (PDF)").count() == 0
    assert page.request.get(f"{home}{former}/report.pdf").status == 404


def refused(page: "Page", button: str, words: str) -> None:
    page.get_by_role("button", name=button).click()
    page.get_by_role("alert").get_by_text(words).wait_for(timeout=LONGEST_MS)
    assert page.get_by_role("alert").get_by_text("It was not split.").count() == 1
    page.wait_for_load_state()  # the style sheet, too
    assert page.evaluate(FAULTS) == []


# --- splitting --------------------------------------------------------------------------------------------------------
def test_a_visit_of_two_files_is_split_by_them(browser: "Browser", place: Studio) -> None:
    files = {"a.csv": HEAD + shots("Own driver", 220), "b.csv": HEAD + shots("K", 240)}
    drop(place, "tuesday", {**files, "visit.toml": ASPEN + word_on("a.csv", 4) + word_on("b.csv", 3)})
    with at_the_desk(browser, place) as (page, home):
        wait_for_reports(page, home, ["tuesday"])
        former = open_splitting(page, home, "tuesday")
        page.get_by_label("b.csv", exact=True).check()
        page.get_by_label("Name of the other visit").fill("birch")
        split(page)
        wait_for_reports(page, home, ["tuesday", "birch"])
        halves, words = {}, {}
        for name in ("tuesday", "birch"):
            halves[name] = open_visit(page, home, name)
            words[name] = text_of(page, home)
            assert made_from(page) == {"tuesday": former}
            page.wait_for_load_state()  # the style sheet, too
            assert page.evaluate(FAULTS) == []
        counts_no_more(page, home, former, halves)
    assert ("Customer 0007" in words["tuesday"], "Carry, Own driver" in words["tuesday"]) == (True, True)
    assert ("birch" in words["tuesday"], "Carry, K" in words["tuesday"]) == (False, False)
    assert ("birch" in words["birch"], "Carry, K" in words["birch"]) == (True, True)
    assert ("Customer 0007" in words["birch"], "Own driver" in words["birch"]) == (False, False)
    tuesday, birch = report(place, "tuesday"), report(place, "birch")
    assert told(tuesday) == of_file("a.csv", 220)
    assert told(birch) == of_file("b.csv", 240)
    assert measured(tuesday, birch) == measured(former_report(place, "tuesday"))
    assert (tuesday["visit"]["hand"], birch["visit"]["hand"]) == ("left", None)
    assert said_by_staff(tuesday) == [("a.csv", 4, "talked to")]
    assert said_by_staff(birch) == [("b.csv", 3, "talked to")]
    assert folders(place) == ["birch", "tuesday", "tuesday (replaced)"]


def test_a_file_of_two_golfers_is_cut_before_the_second_ones_first_shot(browser: "Browser", place: Studio) -> None:
    """With script: the list is looked at while the halves are worked on, and their pages fill in by themselves."""
    both = ("Bay: 2\n\n" + HEAD + shots("Own driver", 220) + shots("Own driver", 240)).replace("\n", "\r\n")
    drop(place, "tuesday", {"both.csv": both, "visit.toml": ASPEN + word_on("both.csv", 5) + word_on("both.csv", 14)})
    with walked(browser, place, script=True) as (page, home):
        wait_for_reports(page, home, ["tuesday"])
        former = open_splitting(page, home, "tuesday")
        assert page.get_by_label("both.csv", exact=True).count() == 0  # the only file: there is nothing to tick
        choice = page.get_by_label("From which shot on is it the other visit?")
        offered = choice.locator("option").all_inner_texts()
        assert offered == ["no file is cut", *(f"shot {n}, Own driver, line {n + 3}" for n in range(2, 17))]
        choice.select_option("shot 9, Own driver, line 12")
        split(page)
        other = page.get_by_role("link", name="tuesday, second", exact=True)
        other.click()
        page.get_by_role("heading", name="The report").wait_for(timeout=LONGEST_MS)  # nobody loaded it anew
        wait_for_reports(page, home, ["tuesday", "tuesday, second"])
        halves, words = {}, {}
        for name in ("tuesday", "tuesday, second"):
            halves[name] = open_visit(page, home, name)
            words[name] = text_of(page, home)
            assert made_from(page) == {"tuesday": former}
        counts_no_more(page, home, former, halves)
    assert ("Customer 0007" in words["tuesday"], "second" in words["tuesday"]) == (True, False)
    assert "fitting, tuesday, second, " in words["tuesday, second"]
    assert "Customer 0007" not in words["tuesday, second"]
    one, two, before = report(place, "tuesday"), report(place, "tuesday, second"), former_report(place, "tuesday")
    assert told(before) == of_file("both.csv", 220, 4) + of_file("both.csv", 240, 12)
    assert told(one) == of_file("both.csv", 220, 4)
    assert told(two) == of_file("both.csv", 240, 4)
    assert measured(one, two) == measured(before)
    assert said_by_staff(one) == [("both.csv", 5, "talked to")]
    assert said_by_staff(two) == [("both.csv", 6, "talked to")]
    assert folders(place) == ["tuesday", "tuesday (replaced)", "tuesday, second"]


def test_a_split_that_cannot_be_made_says_why_and_keeps_what_was_chosen(browser: "Browser", place: Studio) -> None:
    files = {"a.csv": HEAD + shots("Own driver", 220), "b.csv": HEAD + shots("K", 240)}
    drop(place, "tuesday", files)
    (place.inbox / "single.csv").write_text(HEAD + shots("Own driver", 200), encoding="utf-8")
    with walked(browser, place, script=False, but="status of (422|409) ") as (page, home):
        wait_for_reports(page, home, ["single", "tuesday"])
        open_splitting(page, home, "tuesday")
        page.get_by_label("Name of the other visit").fill("birch & <b>")
        refused(page, "Split it", "Tick the files of the other visit and leave at least one unticked")
        assert page.get_by_label("Name of the other visit").input_value() == "birch & <b>"
        for name in ("a.csv", "b.csv"):
            assert not page.get_by_label(name, exact=True).is_checked()
            page.get_by_label(name, exact=True).check()
        refused(page, "Split it", "Tick the files of the other visit and leave at least one unticked")
        assert [page.get_by_label(name, exact=True).is_checked() for name in ("a.csv", "b.csv")] == [True, True]
        page.get_by_role("link", name="Back to the visit").click()
        page.get_by_role("heading", name="tuesday", exact=True).wait_for(timeout=LONGEST_MS)
        open_splitting(page, home, "single")
        refused(page, "Split it", "Choose from which shot on it is the other visit.")
        assert folders(place) == ["single", "tuesday"]
        choose_then_change_meanwhile(page, home)
        split(page)  # what was chosen still stands there
        wait_for_reports(page, home, ["birch", "single", "tuesday"])
    assert told(report(place, "tuesday")) == of_file("b.csv", 240)
    assert told(report(place, "birch")) == of_file("a.csv", 220)
    assert report(place, "tuesday")["visit"]["customer"] == "Customer 0007"


def choose_then_change_meanwhile(page: "Page", home: str) -> None:
    """Choose a file, while in another tab somebody says who the customer is; it is refused once."""
    address = open_splitting(page, home, "tuesday")
    page.get_by_label("a.csv", exact=True).check()
    page.get_by_label("Name of the other visit").fill("birch")
    beside = page.context.new_page()
    beside.goto(home + address)
    beside.get_by_label("Customer", exact=True).fill("Customer 0007")
    beside.get_by_role("button", name="Save and make the next version").click()
    beside.locator("p.said[role=status]").get_by_text("Version 2 is made.").wait_for(timeout=LONGEST_MS)
    beside.close()
    refused(page, "Split it", "Somebody made a change meanwhile.")
    assert page.get_by_label("a.csv", exact=True).is_checked()
    assert not page.get_by_label("b.csv", exact=True).is_checked()
    assert page.get_by_label("Name of the other visit").input_value() == "birch"


# --- joining ----------------------------------------------------------------------------------------------------------
def test_two_visits_are_joined_once_somebody_says_that_they_are_one(browser: "Browser", place: Studio) -> None:
    facts = ASPEN + word_on("shots.csv", 4), BIRCH + word_on("shots.csv", 3)
    drop(place, "morning", {"shots.csv": HEAD + shots("Own driver", 220), "visit.toml": facts[0]})
    drop(place, "noon", {"shots.csv": HEAD + shots("K", 240), "visit.toml": facts[1]})
    with at_the_desk(browser, place) as (page, home):
        wait_for_reports(page, home, ["morning", "noon"])
        noon = open_visit(page, home, "noon")
        morning = open_splitting(page, home, "morning")
        page.get_by_role("link", name="Find the other half").click()
        page.get_by_role("heading", name="Visits of the same day").wait_for(timeout=LONGEST_MS)
        page.wait_for_load_state()  # the style sheet, too
        assert page.evaluate(FAULTS) == []
        page.get_by_role("link", name="noon", exact=True).click()
        page.get_by_role("heading", name="Join “morning” and “noon”?").wait_for(timeout=LONGEST_MS)
        page.wait_for_load_state()  # the style sheet, too
        assert page.evaluate(FAULTS) == []
        assert page.get_by_text("with one report of 2 files: shots.csv, shots (2).csv.").count() == 1
        row = page.get_by_role("row", name="Customer Customer 0007 Customer 0008 not the same", exact=True)
        assert row.count() == 1
        page.get_by_role("button", name="Join them").click()  # the browser itself asks for the tick
        assert page.locator("input[name=sure]:invalid").count() == 1
        assert folders(place) == ["morning", "noon"]
        page.get_by_label("They are one visit of one golfer all the same").check()
        page.get_by_role("button", name="Join them").click()
        page.locator("p.said[role=status]").get_by_text("are one visit now").wait_for(timeout=LONGEST_MS)
        wait_for_reports(page, home, ["morning"])
        joined = open_visit(page, home, "morning")
        words = text_of(page, home)
        assert list(made_from(page).items()) == [("morning", morning), ("noon", noon)]
        kept = [page.get_by_label(label, exact=True).input_value() for label in ("Customer", "E-mail address", "Bay")]
        assert kept == ["Customer 0007", "c7@customer.example", "2"]
        assert page.get_by_label("left", exact=True).is_checked()
        for former in (morning, noon):
            counts_no_more(page, home, former, {"morning": joined})
    assert all(word in words for word in ("Customer 0007", "Mind the grip.", "Own driver", "K"))
    assert not any(word in words for word in ("Customer 0008", "Mind the stance."))
    one = report(place, "morning")
    assert told(one) == of_file("shots (2).csv", 240) + of_file("shots.csv", 220)
    assert measured(one) == measured(former_report(place, "morning"), former_report(place, "noon"))
    assert said_by_staff(one) == [("shots.csv", 4, "talked to"), ("shots (2).csv", 3, "talked to")]
    assert folders(place) == ["morning", "morning (replaced)", "noon (replaced)"]
