"""Two forms on one page, with script: what is typed into one is not left behind unasked when the other is sent."""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio as studio_module
from pipeline.studio import Studio
from tests.test_desk_browser import WITH_UNITS, at_the_desk, browser, wait_for

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Dialog, Page, Route

__all__ = ["browser"]
pytestmark = pytest.mark.slow

TELLS = """() => new MutationObserver(() => {
  const said = document.querySelector('form span[role=status]');
  if (said) console.log(said.parentElement.innerText.replace(/^.*version (?=W)/, '').trim());
}).observe(document.body, {childList: true, subtree: true})"""


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    made = studio_module.create(tmp_path / "studio")
    (made.inbox / "tuesday.csv").write_text(WITH_UNITS)
    return made


class Answers:
    """Somebody who answers what the browser asks: stay, or leave."""

    def __init__(self, page: "Page") -> None:
        self.asked = 0
        self.leaves = False
        page.on("dialog", self._answer)

    def _answer(self, dialog: "Dialog") -> None:
        assert dialog.type == "beforeunload"
        self.asked += 1
        if self.leaves:
            dialog.accept()
        else:
            dialog.dismiss()


def test_what_is_typed_and_not_saved_is_not_left_behind_unasked(browser: "Browser", place: Studio) -> None:
    with at_the_desk(browser, place) as (entered, home):
        wait_for(entered, "has its report")
        page = browser.new_context(storage_state=entered.context.storage_state()).new_page()
        page.set_default_timeout(60_000)
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        answers = Answers(page)
        page.goto(home)
        page.get_by_role("link", name="tuesday", exact=True).click()  # nothing typed: nothing asked
        recommended, letter = page.get_by_label("What you recommend"), page.get_by_label("Words", exact=True)
        recommended.fill("Take M.")
        letter.fill("Dear Aspen,")
        page.get_by_role("button", name="Save the letter").click()
        stays(page, answers, asked=1)
        page.get_by_role("link", name="How clubs do").click(no_wait_after=True)
        stays(page, answers, asked=2)
        assert (recommended.input_value(), letter.input_value()) == ("Take M.", "Dear Aspen,")
        assert page.get_by_text("Working on it …").count() == 0
        letter.fill("")
        recommended.fill("")
        page.get_by_label("left", exact=True).check()
        page.get_by_label("not known", exact=True).check()  # as it was
        letter.evaluate("(field) => { field.value = field.defaultValue }")
        page.get_by_role("button", name="Save the letter").click()
        page.locator("p.said[role=status]").get_by_text("The letter is saved.").wait_for()
        page.get_by_label("Kind of Own driver").select_option("wood")
        answers.leaves = True
        page.get_by_role("link", name="How clubs do").click()
        page.get_by_role("heading", name="How clubs do").wait_for()
        assert (answers.asked, said) == (3, [])
        page.context.close()


def stays(page: "Page", answers: Answers, asked: int) -> None:
    """Wait until the browser has asked, and the page is still there."""
    for _ in range(200):
        if answers.asked == asked:
            break
        page.wait_for_timeout(50)
    assert answers.asked == asked
    page.wait_for_timeout(600)  # longer than the word that something is being done takes to come
    assert page.get_by_role("heading", name="tuesday", exact=True).count() == 1


def test_whoever_pressed_a_button_sees_that_it_is_being_done(browser: "Browser", place: Studio) -> None:
    with at_the_desk(browser, place) as (entered, home):
        wait_for(entered, "has its report")
        page = browser.new_context(storage_state=entered.context.storage_state()).new_page()
        page.set_default_timeout(60_000)
        answers = Answers(page)
        page.goto(home)
        page.get_by_role("link", name="tuesday", exact=True).click()
        page.get_by_label("What you recommend").fill("Take M.")
        held: list[Route] = []
        seen: list[str] = []
        page.on("console", lambda message: seen.append(message.text))
        page.evaluate(TELLS)  # a page that is being left answers no question

        def hold(route: "Route") -> None:  # as long as we like
            held.append(route)

        page.route("**/facts", hold)
        page.get_by_role("button", name="Save and make").click(no_wait_after=True)
        for _ in range(200):
            if seen:
                break
            page.wait_for_timeout(50)
        assert seen == ["Working on it … The version before is kept."]  # beside the button
        held[0].continue_()
        page.locator("p.said").get_by_text("Version 2 is made.").wait_for()
        assert page.get_by_text("Working on it …").count() == 0
        assert answers.asked == 0
        page.context.close()
