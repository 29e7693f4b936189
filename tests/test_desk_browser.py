"""The desk in a real browser, on the real program, without script: the way of one visit, and of attackers."""

import os
import re
import shutil
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

import pypdf
import pytest

from pipeline import studio as studio_module
from pipeline.studio import Studio
from tests.test_desk_command import started

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.slow
CHROMIUM = shutil.which("chromium")
RAW_SHOT = "Shot 9, L: ball speed 140.0\u00a0mph, carry 222\u00a0yd, side 8\u00a0yd left."
NO_UNITS = "Club,Ball speed,Carry\n" + "".join(f"Own driver,{140 + i % 3},{230 + i}\n" for i in range(8))
WITH_UNITS = NO_UNITS.replace("Ball speed", "Ball speed (mph)").replace("Carry", "Carry (yd)")
# what every page must have: a name, a language, one heading of the first rank, landmarks, a label for each field
FAULTS = """() => {
  const all = (which) => [...document.querySelectorAll(which)], found = [];
  const fields = all('input:not([type=hidden]), textarea, select');
  if (!document.title) found.push('no title');
  if (!document.documentElement.lang) found.push('no language');
  for (const one of ['h1', 'main']) if (all(one).length !== 1) found.push('not one ' + one);
  for (const field of fields) if (!field.labels.length) found.push('no label: ' + field.name);
  for (const one of all('button, a')) if (!one.textContent.trim()) found.push('no words: ' + one.outerHTML);
  for (const one of [...fields, ...all('button')])
    if (one.checkVisibility() && one.getBoundingClientRect().height < 18) found.push('small: ' + one.outerHTML);
  const ids = all('[id]').map((one) => one.id);
  if (new Set(ids).size !== ids.length) found.push('an id twice');
  if (document.documentElement.scrollWidth > document.documentElement.clientWidth) found.push('wider than the window');
  return found;
}"""


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    if CHROMIUM is None:
        if os.environ.get("BAYWRIGHT_REQUIRE_CHROMIUM"):
            pytest.fail("there is no chromium on this machine")
        pytest.skip("NOT CHECKED: there is no chromium on this machine")
    sync_api = pytest.importorskip("playwright.sync_api", reason="NOT CHECKED: playwright is not installed")
    with sync_api.sync_playwright() as play:
        rules = ["--no-sandbox", "--host-resolver-rules=MAP rebound.test 127.0.0.1"]
        opened = play.chromium.launch(executable_path=CHROMIUM, args=rules)
        yield opened
        opened.close()


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio_module.create(tmp_path / "studio")


@contextmanager
def at_the_desk(browser: "Browser", place: Studio, width: int = 1024) -> "Iterator[tuple[Page, str]]":
    with started(place) as (_, address):
        context = browser.new_context(java_script_enabled=False, viewport={"width": width, "height": 800})
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.goto(address)
        yield page, address.split("/open")[0]
        context.close()
        assert [words for words in said if "422" not in words] == []  # 422: a form that lacks something


def wait_for(page: "Page", words: str) -> None:
    """Load the first page again until it says something."""
    for _ in range(100):
        page.goto(re.sub(r"(:\d+).*", r"\1/", page.url))
        if page.get_by_text(words).count():
            return
        page.wait_for_timeout(300)
    pytest.fail(f"the desk never said: {words}\n{page.content()}")


def test_a_visit_from_hand_in_to_its_second_version(browser: "Browser", place: Studio) -> None:
    with at_the_desk(browser, place) as (page, home):
        given = place.root / "tuesday.csv"
        given.write_text(NO_UNITS)
        page.get_by_label("Drop files on this field").set_input_files(given)
        page.get_by_role("button", name="Hand in").click()
        assert "“tuesday.csv” is in the drop folder" in page.locator("p[role=status]").inner_text()
        wait_for(page, "waits for your answer")
        page.get_by_role("group", name="Ball speed").get_by_label("mph").check()
        page.get_by_role("group", name="Carry").get_by_label("yd").check()
        page.get_by_role("button", name="Answer").click()
        wait_for(page, "has its report")
        page.get_by_role("link", name="tuesday", exact=True).click()
        report = page.get_by_role("link", name="The report itself (PDF)").get_attribute("href")
        assert page.request.get(f"{home}{report}").body().startswith(b"%PDF-")
        page.get_by_label("Customer", exact=True).fill("Customer 0007")
        page.get_by_label("E-mail address").fill("customer@example.org")
        page.get_by_label("left", exact=True).check()
        page.get_by_role("button", name="Make the next version").click()
        assert page.locator("p[role=status]").inner_text() == "Version 2 is made. The one before is kept."
        assert page.get_by_label("Customer", exact=True).input_value() == "Customer 0007"
        assert page.get_by_text("customer@example.org").count()
        [folder] = place.outbox.iterdir()
        assert (folder / "earlier" / "version 1" / "report.pdf").exists()
        page.get_by_role("link", name="See it page by page, version 2").click()
        assert page.locator("h1").inner_text() == "Report of tuesday, version\u00a02"
        for picture in page.locator("main img").all():
            picture.scroll_into_view_if_needed()
            assert picture.evaluate("(one) => one.decode().then(() => one.naturalWidth)") == 1191
        assert page.locator("main img").count() == len(pypdf.PdfReader(folder / "report.pdf").pages)
        itself = page.get_by_role("link", name="The PDF itself").get_attribute("href")
        assert page.request.get(f"{home}{itself}").body() == (folder / "report.pdf").read_bytes()
        page.get_by_role("link", name="Back to the visit").click()
        page.get_by_role("link", name="Version 1, as it was").click()
        assert page.locator("h1").inner_text() == "Report of tuesday, version\u00a01"
        page.get_by_role("link", name="How clubs do").click()
        with page.expect_download() as download:
            page.get_by_role("link", name="On paper (PDF)").click()
        assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")


def test_files_are_dropped_on_the_field_with_the_mouse(browser: "Browser", place: Studio) -> None:
    with at_the_desk(browser, place) as (page, _):
        given = [place.root / "first.csv", place.root / "second.csv"]
        for path in given:
            path.write_text(WITH_UNITS)
        given[1].write_text(WITH_UNITS.replace(",230", ",231"))
        box = page.get_by_label("Drop files on this field").bounding_box()
        assert box
        hand = page.context.new_cdp_session(page)
        files = {"items": [], "files": [str(path) for path in given], "dragOperationsMask": 1}
        for what in ("dragEnter", "dragOver", "drop"):
            place_of = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
            hand.send("Input.dispatchDragEvent", {"type": what, **place_of, "data": files})
        page.get_by_label("They belong to one visit").check()
        page.get_by_label("Name of that visit").fill("tuesday")
        page.get_by_role("button", name="Hand in").click()
        page.locator("p[role=status]").wait_for()
        wait_for(page, "has its report")
        page.get_by_role("link", name="tuesday", exact=True).click()
        assert page.locator("main p").first.inner_text() == "It has its report. It came as first.csv, second.csv."


def test_two_lofts_and_a_shot_set_aside_by_keyboard(browser: "Browser", place: Studio) -> None:
    """The fitter's shortest way, with nothing but keys."""
    shots = "Club,Ball speed (mph),Launch angle (deg),Spin (rpm),Launch direction (deg)\n"
    shots += "".join(
        f"{club},{140 + i % 3},{11 + i % 2},{2600 + 20 * i},{i % 5 - 2}\n" for club in "KL" for i in range(8)
    )
    (place.inbox / "tuesday.csv").write_text(shots)
    with at_the_desk(browser, place) as (page, _):
        wait_for(page, "has its report")
        page.get_by_role("link", name="tuesday", exact=True).click()
        page.get_by_text("Needs you: which is the customer's own club?").wait_for(timeout=5_000)
        page.get_by_role("radio", name="not said").focus()
        page.keyboard.press("ArrowLeft")
        for club in "KL":
            page.get_by_label(f"Kind of {club}", exact=True).focus()
            page.keyboard.type("driver")
            page.keyboard.press("Tab")
            page.keyboard.type("10.5")
        group = page.locator("details.club").last
        group.locator("> summary").focus()
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        picture = group.locator("img").first
        picture.scroll_into_view_if_needed()
        page.wait_for_function("document.querySelectorAll('details.club')[1].querySelector('img').naturalWidth > 300")
        assert picture.get_attribute("alt") == f"Flight. {RAW_SHOT}"
        page.keyboard.press("Tab")
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("Enter")
        page.get_by_role("alert").wait_for()
        assert page.get_by_role("alert").get_by_role("link").all_inner_texts() == [
            "Shot 9: say why in a few words; the report prints it."
        ]
        page.wait_for_function("document.activeElement.getAttribute('role') === 'alert'")
        page.keyboard.press("Tab")  # from the list of what is wrong, which has the focus, to its first link
        page.keyboard.press("Enter")
        page.wait_for_function("document.activeElement.name === location.hash.slice(1)")
        page.keyboard.type("talked to")
        page.keyboard.press("Enter")
        page.locator("p[role=status]").wait_for()
        assert page.locator("p[role=status]").inner_text() == "Version 2 is made. The one before is kept."
        assert page.get_by_text("Talked to. Staff said so.").count() == 1
        assert page.get_by_text("needs you: which is").count() == 0
        assert page.get_by_label("Loft in degrees of L").input_value() == "10.5"


@pytest.mark.parametrize("width", [1024, 512])  # 512: the same window at 200 %
def test_every_page_can_be_read_and_used(browser: "Browser", place: Studio, width: int) -> None:
    (place.inbox / "held with a rather long name of its own, and no blank_in_its_end_at_all_whatever.csv").write_text(
        NO_UNITS
    )
    (place.inbox / "bad.csv").write_text("no table at all\nnone")
    (place.inbox / "good.csv").write_text(WITH_UNITS)
    with at_the_desk(browser, place, width) as (page, home):
        wait_for(page, "waits for your answer")
        wait_for(page, "was set back")
        wait_for(page, "has its report")
        visits = [link.get_attribute("href") for link in page.locator("tbody th a").all()]
        assert len(visits) == 3
        reader = browser.new_context(
            viewport={"width": width, "height": 800}, storage_state=page.context.storage_state()
        )
        seen = reader.new_page()  # it only looks: our own pages run no script
        for path in ("/", "/?words=good&which=unsent", "/?words=x", "/clubs", "/clubs?since=x", "/settings", *visits):
            seen.goto(f"{home}{path}")
            assert (path, seen.evaluate(FAULTS)) == (path, [])
            seen.keyboard.press("Tab")
            assert seen.evaluate("document.activeElement.textContent") == "Go to the content"
            assert seen.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)") >= 2
        reader.close()


def test_with_script_the_list_comes_anew_and_forms_stay(browser: "Browser", place: Studio) -> None:
    (place.inbox / "held.csv").write_text(NO_UNITS)
    with at_the_desk(browser, place) as (page, home):
        wait_for(page, "waits for your answer")
        context = browser.new_context(storage_state=page.context.storage_state())
        live = context.new_page()
        said: list[str] = []
        live.on("console", lambda message: said.append(message.text))
        live.goto(home)
        live.get_by_role("group", name="Carry").get_by_label("yd").check()
        (place.inbox / "good.csv").write_text(WITH_UNITS)
        live.get_by_role("row", name="good").get_by_text("has its report").wait_for(timeout=60_000)
        assert live.get_by_role("group", name="Carry").get_by_label("yd").is_checked()
        assert live.locator("#live").count() == live.locator("#top").count() == 1
        live.wait_for_timeout(9_000)  # two more rounds, with nothing new
        assert said == []
        context.close()


def test_a_letter_is_written_and_what_is_still_to_be_sent_is_found(browser: "Browser", place: Studio) -> None:
    for day in ("2026-03-02", "2026-06-10"):
        folder = place.inbox / f"visit of {day}"
        folder.mkdir()
        (folder / "shots.csv").write_text(WITH_UNITS)
        (folder / "visit.toml").write_text(f'customer = "Aspen B"\ndate = {day}\nown_club = "Own driver"\n')
    with at_the_desk(browser, place) as (page, home):
        wait_for(page, "letter not sent yet")
        page.goto(f"{home}/?words=aspen&which=unsent")
        for _ in range(100):
            if page.locator("tbody tr").count() == 2:
                break
            page.wait_for_timeout(300)
            page.reload()
        page.get_by_role("link", name="visit of 2026-06-10", exact=True).click()
        page.get_by_role("cell", name="same name", exact=True).wait_for()
        assert page.locator("svg").count() >= 2
        page.get_by_label("Words", exact=True).fill("Dear Aspen,\n\nwell done.")
        page.get_by_role("button", name="Save the letter").click()
        page.get_by_text("The letter is saved.").first.wait_for()
        page.get_by_role("button", name="Note that I sent it myself").click()
        page.get_by_text("Noted as sent on").wait_for()
        page.goto(f"{home}/?which=unsent")
        assert page.locator("tbody th").all_inner_texts() == ["visit of 2026-03-02"]


class _Attacker(BaseHTTPRequestHandler):
    """Another page on this computer: a form that sends itself to the desk, and a frame around it."""

    target = ""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("content-type", "text/html")
        self.end_headers()
        form = f'<form id="f" method="post" action="{self.target}/leave"><input name="word" value="x"></form>'
        self.wfile.write(f"{form}<iframe src='{self.target}/'></iframe><script>f.submit()</script>".encode())

    def log_message(self, *_: object) -> None:
        pass


def test_another_page_gets_nothing(browser: "Browser", place: Studio) -> None:
    # with threads: a browser may open a connection ahead and say nothing on it
    attacker = ThreadingHTTPServer(("127.0.0.1", 0), _Attacker)
    with at_the_desk(browser, place) as (page, home), attacker as server:
        _Attacker.target = home
        Thread(target=server.serve_forever, daemon=True).start()
        context = browser.new_context(storage_state=page.context.storage_state())
        bad = context.new_page()
        with bad.expect_response(lambda answer: answer.request.method == "POST") as refused:
            bad.goto(f"http://127.0.0.1:{server.server_port}/")
        assert refused.value.status == 403
        port = home.rpartition(":")[2]
        rebound = bad.goto(f"http://rebound.test:{port}/")
        assert rebound
        assert rebound.status == 421
        context.close()
        server.shutdown()
        page.goto(home)
        assert page.get_by_role("heading", name="What arrived").count() == 1


def test_a_visit_at_work_is_followed_and_its_words_and_order_reach_the_report(
    browser: "Browser", place: Studio
) -> None:
    """With script: the page of a visit fills in by itself; two tabs on one visit lose nothing."""
    (place.inbox / "tuesday").mkdir()
    shots = "Club,Ball speed (mph),Launch angle (deg),Spin (rpm)\n"
    shots += "".join(f"{club},{140 + i % 3},{11 + i % 2},{2600 + 20 * i}\n" for club in "KLM" for i in range(6))
    (place.inbox / "tuesday" / "shots.csv").write_text(shots)
    with at_the_desk(browser, place) as (first, home):
        wait_for(first, "tuesday")
        page = browser.new_context(storage_state=first.context.storage_state()).new_page()
        page.goto(home)
        page.get_by_role("link", name="tuesday", exact=True).click()
        page.get_by_role("heading", name="The report").wait_for(timeout=60_000)  # nobody loaded it anew
        other = page.context.new_page()
        other.goto(page.url)
        page.get_by_label("Order of M").fill("1")
        page.get_by_label("Name in the report of M").fill("New head")
        page.get_by_label("What you recommend").fill("Take M.")
        page.get_by_role("button", name="Save and make").click()
        page.get_by_text("Version 2 is made.").wait_for()
        assert page.locator("table.clubs tbody th").all_inner_texts() == ["K", "M", "L"]
        assert page.get_by_role("row", name="New head").count()
        assert page.get_by_label("Name in the report of M").input_value() == "New head"
        assert "What your fitter recommends: Take M." in page.get_by_label("Words", exact=True).input_value()
        other.get_by_label("Customer", exact=True).fill("Customer 0007")
        other.get_by_role("button", name="Save and make").click()
        other.get_by_role("alert").get_by_text("Somebody changed this visit").wait_for()
        assert other.get_by_label("What you recommend").input_value() == "Take M."
        other.get_by_role("button", name="Save and make").click()
        other.get_by_text("Version 3 is made.").wait_for()
        assert other.get_by_label("Order of M").input_value() == "1"
        assert other.get_by_label("Customer", exact=True).input_value() == "Customer 0007"
        page.context.close()
