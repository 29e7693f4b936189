"""Every page of the desk for everybody: axe's rules, the keyboard alone, 200 %, little movement, no script."""

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio as studio_module
from tests.test_desk_browser import NO_UNITS, WITH_UNITS, at_the_desk, browser, wait_for

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
RULES = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"
AXE = f"axe.run(document, {{runOnly: {RULES}}})"
# the widths 1024 px has at 100 and at 200 %
WIDE, MAGNIFIED = 1024, 512
TOO_WIDE = """() => [...document.querySelectorAll('body *')].filter((one) => !one.closest('.scroll, .hidden, .skip')
  && one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((one) => one.outerHTML.slice(0, 90))"""
EXAMPLE = Path(__file__).parent.parent / "inbox_example/customer 0142"
SMALL = """() => [...document.querySelectorAll('a, button, input:not([type=hidden]), select, textarea, summary')]
  .filter((one) => !one.closest('.skip, p, dd, pre') && one.getClientRects().length)
  .filter((one) => Math.min(one.getBoundingClientRect().height, one.getBoundingClientRect().width) < 24
    && !(one.labels && one.labels.length && one.labels[0].contains(one))).map((one) => one.outerHTML.slice(0, 90))"""
ALL_DRAWN = """() => Promise.all([...document.images].map((one) => {
  one.loading = 'eager';
  return one.decode().catch(() => null); }))"""
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
    for name in ("aspen", "birch"):
        (place.inbox / name).mkdir()
        for number, what in enumerate(("first", "second")):
            shots = WITH_UNITS.replace(",230\n", f",{231 + number + len(name)}\n")
            unknown = shots.replace("\n", ",62.5,12\n").replace("62.5,12", "Vo,Zeta", 1)
            (place.inbox / name / f"{what}.csv").write_text(unknown if number else shots)
        (place.inbox / name / "visit.toml").write_text(f'customer = "{name}"\nhand = "right"\n')
    shots = (EXAMPLE / "driver shots.csv").read_text(encoding="utf-8")
    for name, day, speed in (("levers", "2026-11-25", "133.6"), ("levers before", "2026-06-02", "133.7")):
        (place.inbox / name).mkdir()
        (place.inbox / name / "shots.csv").write_text(shots.replace("133.6", speed), encoding="utf-8")
        facts = f'customer = "Customer 0142"\nemail = "c@customer.example"\ndate = {day}\nown_club = "Own driver"\n'
        (place.inbox / name / "visit.toml").write_text(facts, encoding="utf-8")
    mail = 'mail_from = "desk@studio.example"\nsmtp_host = "mail.example"\n'
    (place.root / "studio.toml").write_text(mail, encoding="utf-8")
    (place.profiles / "tuesday.toml").write_text('fingerprint = "sha256:ab"\n[columns_unit]\n"Carry" = "yd"\n')
    (place.profiles / "faulty.toml").write_text('fingerprint = "sha256:cd"\n[units]\nspeed = "furlongs"\n')
    with at_the_desk(browser, place) as (page, home):
        for words in ("waits for your answer", "was set back", "has its report"):
            wait_for(page, words)
        for _ in range(200):
            if page.get_by_text("has its report").count() == 4:
                break
            page.wait_for_timeout(300)
            page.goto(home)
        visits = [str(link.get_attribute("href")) for link in page.locator("tbody th a").all()]
        reported = [v for v in visits if page.locator(f'a[href="{v}/report.pdf"]').count()]
        one, other = reported[-2:]
        paths = ["/", *visits, "/nothing", "/clubs", "/clubs?since=x", "/settings", "/settings/answers/tuesday.toml"]
        paths += [f"{one}/split", f"{one}/join", f"{one}/join?find=aspen", f"{one}/join/{other.rpartition('/')[2]}"]
        levers = page.get_by_role("link", name="levers", exact=True).get_attribute("href")
        paths += [f"{levers}/pages", f"{levers}/pages?version=1"]
        paths += [f"{levers}?build=B&loft=1&attack=x", f"{levers}?build=B&loft=1", "/?words=levers&which=unsent"]
        context = browser.new_context(
            storage_state=page.context.storage_state(), viewport={"width": WIDE, "height": 800},
            reduced_motion="reduce", bypass_csp=True,  # or axe could not be put into the page
        )  # fmt: skip
        yield context.new_page(), home, paths
        context.close()


def opened(page: "Page", address: str) -> "Page":
    """Open a page and all that is folded up on it, and wait for the pictures in it."""
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
    page.evaluate(ALL_DRAWN)
    return page


def in_another_tab(page: "Page", address: str, label: str, words: str, button: str) -> None:
    """Change one field of a page beside the one that is open."""
    beside = page.context.new_page()
    beside.goto(address)
    beside.get_by_label(label, exact=True).fill(words)
    beside.get_by_role("button", name=button).click()
    beside.get_by_role("status").first.wait_for()
    beside.close()


def save(page: "Page", label: str, words: str, button: str) -> None:
    """Change a field of the open page, which is refused."""
    page.get_by_label(label, exact=True).fill(words)
    page.get_by_role("button", name=button).click()
    page.get_by_role("alert").first.wait_for()


def say_twice(page: "Page", *headings: str) -> None:
    page.get_by_text(f"Columns left aside ({len(headings)})").click()
    for heading in headings:
        page.get_by_label(f"What is “{heading}”?").select_option("total, in yards")
    page.get_by_role("button", name="Remember it").click()
    page.get_by_role("alert").wait_for()


def states(page: "Page", home: str, paths: list[str]) -> "Iterator[str]":
    """Bring the page into what a form of it may become; gives a name of each."""
    page.goto(f"{home}/settings")
    save(page, "Port of the mail server", "many", "Save")
    yield "settings with a fault"
    page.goto(f"{home}/settings")
    in_another_tab(page, f"{home}/settings", "Name of the studio", "North", "Save")
    save(page, "Name of the studio", "South", "Save")
    yield "settings somebody changed"
    page.goto(f"{home}/clubs?since=2026-01&by=loft")
    yield "clubs by loft"
    page.goto(home + next(one for one in paths if one.endswith("/join")).removesuffix("/join"))
    say_twice(page, "Vo", "Zeta")
    yield "columns with a fault"
    page.goto(home + next(one for one in paths if one.endswith("/split")))
    page.get_by_label("Name of the other visit").fill("cedar")
    page.get_by_role("button", name="Split it").click()
    page.get_by_role("alert").wait_for()
    assert page.get_by_label("Name of the other visit").input_value() == "cedar"
    yield "a split with a fault"
    yield from states_of_a_visit(page, home, next(path for path in paths if "build=B" in path).partition("?")[0])
    page.goto(f"{home}/open?key=x")
    yield "a start address used before"


def states_of_a_visit(page: "Page", home: str, visit: str) -> "Iterator[str]":
    opened(page, home + visit)
    page.get_by_label("Loft in degrees of Driver 2").fill("9,5")
    page.get_by_role("radio", name="it is set aside").last.check()
    save(page, "E-mail address", "nobody", "Save and make")
    yield "visit with faulty fields"
    page.goto(home + visit)
    in_another_tab(page, home + visit, "Agreed with the customer", "e-mail", "Save and make")
    save(page, "Agreed with the customer", "by post", "Save and make")
    assert page.get_by_text("Somebody changed this visit").count() == 1
    yield "visit somebody changed"
    page.goto(home + visit)
    save(page, "Subject", " ", "Save the letter")
    yield "letter with a fault"
    page.goto(home + visit)
    in_another_tab(page, home + visit, "Words", "Dear customer,", "Save the letter")
    save(page, "Words", "Hello,", "Save the letter")
    yield "letter somebody changed"
    page.goto(home + visit)
    page.get_by_role("button", name="Note that I sent it myself").click()
    page.get_by_text("Noted as sent").first.wait_for()
    yield "letter noted as sent"
    page.get_by_role("button", name="It was not sent after all").click()
    page.get_by_text("The note is taken back").first.wait_for()
    page.get_by_label("Loft", exact=True).fill("1.5")
    page.get_by_role("button", name="Work it out").click()
    page.locator("#what-if-answer table").wait_for()
    yield "what if, answered"


def test_axe_finds_nothing(seen: "tuple[Page, str, list[str]]") -> None:
    page, home, paths = seen
    axe = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
    found: dict[str, object] = {}

    def look(at: str) -> None:
        page.wait_for_load_state()
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true })")
        page.evaluate(axe)
        broken = [(v["id"], [node["html"][:100] for node in v["nodes"]]) for v in page.evaluate(AXE)["violations"]]
        broken += page.evaluate(TOO_WIDE)
        found.update({at: broken} if broken else {})

    for path in paths:
        opened(page, home + path)
        look(path)
    assert any(page.goto(home + path) and page.locator("#levers").count() for path in paths)
    assert any(page.goto(home + path) and page.locator(".trend").count() for path in paths)
    for name in states(page, home, paths):
        look(name)
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
