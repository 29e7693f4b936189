"""The whole way in a real browser, by somebody who has read nothing: a file nobody knows to a letter that went out."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio as studio_module
from pipeline.studio import Studio
from tests.test_desk_browser import at_the_desk, browser, wait_for

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
SHOTS = "Club,Distance,Vo\n" + "".join(f"Own driver,{230 + i},{62 + i % 3}.5\n" for i in range(8))
CLICKS = [
    "Hand in",
    "carry, in yards",
    "tuesday",
    "Columns left aside (1)",
    "ball speed, in m/s",  # chosen from a list: one by keyboard, two by mouse
    "Remember it and make the next version",
    "Save and make the next version",
    "open the letter",
    "Note that I sent it myself",
]


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio_module.create(tmp_path / "studio")


class Hand:
    """A hand on the mouse that counts; what is typed into a field is no click."""

    def __init__(self) -> None:
        self.clicks: list[str] = []

    def click(self, on: "Locator", name: str = "") -> None:
        self.clicks.append(name or on.inner_text().strip())
        on.click()


def only_report(place: Studio) -> Path:
    [folder] = place.outbox.iterdir()
    return folder


def test_from_a_file_with_an_unknown_column_to_a_letter_that_went_out(browser: "Browser", place: Studio) -> None:
    hand = Hand()
    with at_the_desk(browser, place) as (page, home):
        given = place.root / "tuesday.csv"
        given.write_text(SHOTS)
        page.get_by_label("Drop files on this field").set_input_files(given)  # dropped
        hand.click(page.get_by_role("button", name="Hand in"))
        wait_for(page, "waits for your answer")
        assert page.get_by_text("total: distance from the start to rest").count() == 1
        hand.click(page.get_by_role("button", name="carry, in yards"))
        wait_for(page, "has its report")
        hand.click(page.get_by_role("link", name="tuesday", exact=True))
        say_what_it_is(page, hand)
        assert page.locator("p.said[role=status]").inner_text().startswith("Version 2 is made.")
        shots = json.loads((only_report(place) / "fitting.json").read_text(encoding="utf-8"))["shots"]
        assert sorted(shot["measured"]["ball_speed_mps"] for shot in shots)[::7] == [62.5, 64.5]
        assert page.locator("#columns").count() == 0
        page.get_by_label("E-mail address").fill("customer@example.org")
        hand.click(page.get_by_role("button", name="Save and make the next version"))
        assert page.locator("p.said[role=status]").inner_text() == "Version 3 is made. The one before is kept."
        with page.expect_download() as download:
            link = page.get_by_role("link", name="mail program")
            hand.click(link, "open the letter")
        letter = Path(download.value.path()).read_text(encoding="utf-8")
        assert "To: customer@example.org" in letter
        hand.click(page.get_by_role("button", name="Note that I sent it myself"))
        page.get_by_text("Noted as sent on").wait_for()
        page.goto(f"{home}/?which=unsent")
        assert page.locator("tbody th").count() == 0
    assert hand.clicks == CLICKS


def say_what_it_is(page: "Page", hand: Hand) -> None:
    hand.click(page.get_by_text("Columns left aside (1)"))
    field = page.get_by_label("What is “Vo”?")
    hand.clicks.append("ball speed, in m/s")
    field.select_option("ball speed, in m/s")
    hand.click(page.get_by_role("button", name="Remember it and make the next version"))


def test_the_next_file_with_these_headings_asks_nothing(browser: "Browser", place: Studio) -> None:
    (place.inbox / "tuesday.csv").write_text(SHOTS)
    with at_the_desk(browser, place) as (page, home):
        hand = Hand()
        wait_for(page, "waits for your answer")
        page.get_by_role("button", name="carry, in yards").click()
        wait_for(page, "has its report")
        page.get_by_role("link", name="tuesday", exact=True).click()
        say_what_it_is(page, hand)
        (place.inbox / "wednesday.csv").write_text(SHOTS.replace("Own driver,23", "Own driver,24"))
        for _ in range(100):
            page.goto(home)
            if page.get_by_text("has its report").count() == 2:
                break
            page.wait_for_timeout(300)
        page.get_by_role("link", name="wednesday", exact=True).click()
        assert page.locator("#columns").count() == 0
        assert page.locator("h1").inner_text() == "wednesday"
