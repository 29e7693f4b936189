"""“What if?” in a real browser on the real program: with script only the answer comes anew, and nothing is refused."""

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio as studio_module
from tests.test_desk_browser import FAULTS, browser, wait_for
from tests.test_desk_command import started

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = pytest.mark.slow
EXAMPLE = Path(__file__).parent.parent / "inbox_example/customer 0142"
__all__ = ["browser"]


@pytest.mark.parametrize(("script", "width"), [(True, 1024), (False, 512)])
def test_a_change_is_tried_and_a_slip_is_mended(browser: "Browser", tmp_path: Path, script: bool, width: int) -> None:  # noqa: FBT001
    place = studio_module.create(tmp_path / "studio")
    shutil.copytree(EXAMPLE, place.inbox / "aspen")
    with started(place) as (_, address):
        context = browser.new_context(java_script_enabled=script, viewport={"width": width, "height": 800})
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda fault: said.append(str(fault)))
        page.goto(address)
        wait_for(page, "has its report")
        page.get_by_role("link", name="aspen", exact=True).click()
        page.get_by_role("button", name="Work it out").wait_for()
        page.wait_for_load_state()
        assert page.evaluate(FAULTS) == []
        page.get_by_label("Club", exact=True).select_option("B")
        page.get_by_label("Loft", exact=True).fill("1,5")
        page.get_by_role("button", name="Work it out").click()
        page.get_by_text("“1,5” cannot be worked out.").wait_for()
        page.get_by_label("Loft", exact=True).fill("1.5")
        page.get_by_label("Loft", exact=True).press("Enter")
        page.get_by_text("B Driver 2, counted shots: 9; loft +1.5°").wait_for()
        page.wait_for_load_state()
        assert page.get_by_label("Club", exact=True).input_value() == "B"
        assert page.get_by_text("cannot be worked out").count() == 0
        assert page.evaluate(FAULTS) == []
        assert ("?" in page.url) is not script
        if script:
            assert page.evaluate("document.activeElement.id") == "if-loft"
            context.clear_cookies()
            page.get_by_role("button", name="Work it out").click()
            page.locator("#what-if-answer").get_by_text("The desk is closed").wait_for()
            assert [text for text in said if "401" not in text] == []
        else:
            assert said == []
        context.close()
