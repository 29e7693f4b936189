"""Every page of the desk for everybody: axe's rules, the keyboard alone, 200 %, little movement, no script."""

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio as studio_module
from tests.test_desk_browser import NO_UNITS, at_the_desk, browser, wait_for

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
WITH_UNITS = NO_UNITS.replace("Ball speed", "Ball speed (mph)").replace("Carry", "Carry (yd)")
RULES = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"
AXE = f"axe.run(document, {{runOnly: {RULES}}})"
# the widths 1024 px has at 100 and at 200 %
WIDE, MAGNIFIED = 1024, 512
TOO_WIDE = """() => [...document.querySelectorAll('body *')].filter((one) => !one.closest('.scroll, .hidden, .skip')
  && one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((one) => one.outerHTML.slice(0, 90))"""
SMALL = """() => [...document.querySelectorAll('a, button, input:not([type=hidden]), select, textarea, summary')]
  .filter((one) => !one.closest('.skip, p, dd, pre') && one.getClientRects().length)
  .filter((one) => Math.min(one.getBoundingClientRect().height, one.getBoundingClientRect().width) < 24
    && !(one.labels && one.labels.length && one.labels[0].contains(one))).map((one) => one.outerHTML.slice(0, 90))"""
MOVES = """() => [...document.querySelectorAll('*')].filter((one) => {
  const style = getComputedStyle(one);
  return parseFloat(style.transitionDuration) > 0 || parseFloat(style.animationDuration) > 0
    || style.scrollBehavior === 'smooth'; }).length"""
FOCUSED = """() => {
  const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
  return [one.outerHTML.slice(0, 120), style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
    box.bottom > 0 && box.top < innerHeight, one === document.body]; }"""


@pytest.fixture(scope="module")
def seen(browser: "Browser", tmp_path_factory: pytest.TempPathFactory) -> "Iterator[tuple[Page, str, list[str]]]":
    """Give a page that looks at a desk with something of everything, its address, and the paths of all its pages."""
    place = studio_module.create(tmp_path_factory.mktemp("desk") / "studio")
    held = "held with a rather long name of its own, and no blank_in_its_end_at_all_whatever.csv"
    (place.inbox / held).write_text(NO_UNITS)
    (place.inbox / "bad.csv").write_text("no table at all\nnone")
    for name in ("aspen", "ben"):
        (place.inbox / name).mkdir()
        for number, what in enumerate(("first", "second")):
            shots = WITH_UNITS.replace(",230\n", f",{231 + number + len(name)}\n")
            unknown = shots.replace("\n", ",62.5,12\n").replace("62.5,12", "Vo,Zeta", 1)
            (place.inbox / name / f"{what}.csv").write_text(unknown if number else shots)
        (place.inbox / name / "visit.toml").write_text(f'customer = "{name}"\nhand = "right"\n')
    (place.profiles / "tuesday.toml").write_text('fingerprint = "sha256:ab"\n[columns_unit]\n"Carry" = "yd"\n')
    (place.profiles / "faulty.toml").write_text('fingerprint = "sha256:cd"\n[units]\nspeed = "furlongs"\n')
    with at_the_desk(browser, place) as (page, home):
        for words in ("waits for your answer", "was set back", "has its report"):
            wait_for(page, words)
        for _ in range(40):
            if page.get_by_text("has its report").count() == 2:
                break
            page.wait_for_timeout(300)
            page.goto(home)
        visits = [str(link.get_attribute("href")) for link in page.locator("tbody th a").all()]
        reported = [v for v in visits if page.locator(f'a[href="{v}/report.pdf"]').count()]
        one, other = reported
        paths = ["/", *visits, "/nothing", "/clubs", "/clubs?since=x", "/settings", "/settings/answers/tuesday.toml"]
        paths += [f"{one}/join", f"{one}/join/{other.rpartition('/')[2]}"]
        context = browser.new_context(
            storage_state=page.context.storage_state(), viewport={"width": WIDE, "height": 800},
            reduced_motion="reduce", bypass_csp=True,  # or axe could not be put into the page
        )  # fmt: skip
        yield context.new_page(), home, paths
        context.close()


def opened(page: "Page", address: str) -> "Page":
    """Open a page and all that is folded up on it."""
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    return page


def test_axe_finds_nothing(seen: "tuple[Page, str, list[str]]") -> None:
    page, home, paths = seen
    axe = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    found: dict[str, object] = {}
    for path in [*paths, "settings with a fault", "columns with a fault"]:
        if path.startswith("/"):
            opened(page, home + path)
        elif path.startswith("settings"):
            page.goto(f"{home}/settings")
            page.get_by_label("Port of the mail server").fill("many")
            page.get_by_role("button", name="Save").click()
            page.get_by_role("alert").wait_for()
        else:
            page.goto(home + next(one for one in paths if one.endswith("/join")).removesuffix("/join"))
            page.get_by_text("Columns left aside (2)").click()
            for heading in ("Vo", "Zeta"):
                page.get_by_label(f"What is “{heading}”?").select_option("total, in yards")
            page.get_by_role("button", name="Remember it").click()
            page.get_by_role("alert").wait_for()
        page.evaluate(axe)
        said = page.evaluate(AXE)
        broken = [(v["id"], [node["html"][:100] for node in v["nodes"]]) for v in said["violations"]]
        found |= {path: broken} if broken else {}
    assert found == {}


@pytest.mark.parametrize("width", [WIDE, MAGNIFIED])
def test_nothing_reaches_out_of_the_window_is_too_small_or_moves(
    seen: "tuple[Page, str, list[str]]", width: int
) -> None:
    page, home, paths = seen
    page.set_viewport_size({"width": width, "height": 400})
    for path in paths:
        opened(page, home + path)
        assert (path, page.evaluate(TOO_WIDE)) == (path, [])
        assert (path, page.evaluate("document.documentElement.scrollWidth")) == (path, width)
        assert (path, page.evaluate(SMALL)) == (path, [])
        assert (path, page.evaluate(MOVES)) == (path, 0)


def test_every_page_is_walked_by_the_keyboard_alone(seen: "tuple[Page, str, list[str]]") -> None:
    page, home, paths = seen
    page.set_viewport_size({"width": WIDE, "height": 800})
    for path in paths:
        opened(page, home + path)
        ways = page.locator("a, button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']").count()
        reached: list[str] = []
        for _ in range(ways + 9):  # a field for a day has several stops
            page.keyboard.press("Tab")
            html, ring, shown, out = page.evaluate(FOCUSED)
            if out or (reached and html == reached[0]):  # round again, past the browser's own buttons or not
                break
            assert (path, html, ring, shown) == (path, html, True, True)
            reached.append(html)
        else:
            pytest.fail(f"{path}: the keyboard never comes out again")
        radios = page.locator("input[type=radio]").count()  # a group of them is one stop
        assert len(reached) >= ways - radios, path


def test_no_page_says_anything_to_the_console(
    browser: "Browser", seen: "tuple[Page, str, list[str]]"
) -> None:  # with our policy in force, and with script
    page, home, paths = seen
    context = browser.new_context(storage_state=page.context.storage_state())
    said: list[str] = []
    plain = context.new_page()
    plain.on("console", lambda message: said.append(message.text))
    plain.on("pageerror", lambda fault: said.append(str(fault)))
    for path in paths:
        if path not in ("/nothing", "/clubs?since=x"):  # the browser says itself that these are refused
            opened(plain, home + path)
    context.close()
    assert said == []


def test_a_fault_in_the_settings_is_led_to_and_said_without_script(browser: "Browser", tmp_path: Path) -> None:
    place = studio_module.create(tmp_path / "studio")
    with at_the_desk(browser, place) as (entered, home):
        state = entered.context.storage_state()
        page = browser.new_context(java_script_enabled=False, storage_state=state).new_page()
        page.goto(f"{home}/settings")
        page.get_by_label("Name of the studio").fill("North")
        page.get_by_label("Port of the mail server").fill("many")
        page.get_by_label("Port of the mail server").press("Enter")
        page.get_by_role("alert").get_by_role("link", name="Port of the mail server").click()
        port = page.get_by_label("Port of the mail server")
        assert port.get_attribute("aria-invalid") == "true"
        assert port.input_value() == "many"
        said = str(port.get_attribute("aria-describedby")).split()[-1]
        assert page.locator(f"#{said}").inner_text() == "A whole number is wanted."
        port.fill("465")
        page.get_by_label("Units").select_option("metres")
        page.get_by_role("button", name="Save").click()
        assert "Saved." in page.get_by_role("status").inner_text()
        assert page.locator("header .studio").inner_text() == "North"
        assert 'units_shown = "metres"' in (place.root / "studio.toml").read_text(encoding="utf-8")
        page.context.close()
