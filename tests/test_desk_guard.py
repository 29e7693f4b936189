"""Only this computer's own browser page gets to the desk: address, origin, key, session, form word, size."""

import asyncio
from collections.abc import Iterator

import pytest

from pipeline.desk_guard import LONGEST_DISUSE_S
from tests.conftest import Bench
from tests.desk import HOST, OWN, PORT, Desk, desk_on

PATHS = (
    "/",
    "/clubs",
    "/clubs/models.pdf",
    "/visit/abc",
    "/visit/abc/report.pdf",
    "/visit/abc/flight/x-1.svg",
    "/visit/abc/pages",
    "/visit/abc/page-1.png",
    "/visit/abc/columns",
    "/visit/abc/join",
    "/visit/abc/split",
    "/settings",
    "/settings/answers/a.toml",
    "/visit/abc/letter/send",
    "/static/desk.css",
    "/nothing",
)


@pytest.fixture
def desk(bench: Bench) -> Iterator[Desk]:
    made = desk_on(bench)
    yield made
    made.room.ledger.close()


@pytest.mark.parametrize("path", PATHS)
def test_nobody_gets_anything_without_a_session(desk: Desk, path: str) -> None:
    answer = desk.client.get(path)
    assert (answer.status_code, "set-cookie" in answer.headers) == (401, False)
    assert desk.client.post(path, headers=OWN).status_code == 401


@pytest.mark.parametrize(
    "host", ["rebound.test", f"rebound.test:{PORT}", "127.0.0.1", f"127.0.0.1:{PORT + 1}", f"127.0.0.1.:{PORT}", ""]
)
def test_another_name_for_this_address_is_refused(desk: Desk, host: str) -> None:
    desk.enter()
    assert desk.client.get("/", headers={"host": host}).status_code == 421
    assert desk.client.get(desk.keys.address(PORT), headers={"host": host}).status_code == 421


def test_two_host_lines_are_refused(desk: Desk) -> None:
    desk.enter()
    lines = [(b"host", HOST.encode()), (b"host", HOST.encode())]
    assert desk.client.get("/", headers=lines).status_code == 421


def test_localhost_is_the_same_computer(desk: Desk) -> None:
    desk.enter()
    assert desk.client.get("/", headers={"host": f"localhost:{PORT}"}).status_code == 200


def test_the_start_address_serves_once(desk: Desk) -> None:
    way = desk.keys.address(PORT).removeprefix(f"http://{HOST}")
    assert desk.client.get("/open?key=").status_code == 401
    assert desk.client.get(way + "x").status_code == 401
    first = desk.client.get(way)
    assert (first.status_code, first.headers["location"]) == (303, "/")
    cookie = first.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "max-age" not in cookie
    assert "expires" not in cookie
    assert desk.client.get(way).headers["location"] == "/"  # whoever is in may press it again
    desk.client.cookies.clear()
    assert desk.client.get(way).status_code == 401


def test_a_new_start_address_ends_the_one_before(desk: Desk) -> None:
    old = desk.keys.address(PORT)
    desk.keys.address(PORT)
    assert desk.client.get(old).status_code == 401


def test_without_a_start_address_no_key_opens(desk: Desk) -> None:
    desk.keys.clear()
    assert desk.client.get("/open?key=").status_code == 401
    assert desk.client.get("/open").status_code == 401


def test_a_session_ends_after_hours_of_disuse_and_not_before(desk: Desk) -> None:
    desk.enter()
    for _ in range(3):
        desk.now += LONGEST_DISUSE_S
        assert desk.client.get("/").status_code == 200
    desk.now += LONGEST_DISUSE_S + 1
    assert desk.client.get("/").status_code == 401
    desk.now -= LONGEST_DISUSE_S
    assert desk.client.get("/").status_code == 401  # it is gone, whatever the clock says


def test_a_page_that_asks_by_itself_keeps_no_session_alive(desk: Desk) -> None:
    desk.enter()
    codes = []
    for _ in range(3):
        desk.now += LONGEST_DISUSE_S / 2
        codes.append(desk.client.get("/", headers={"hx-request": "true"}).status_code)
    assert codes == [200, 200, 401]


def test_leaving_ends_the_session(desk: Desk) -> None:
    desk.enter()
    assert desk.post("/leave").status_code == 200
    assert desk.client.cookies
    assert desk.client.get("/").status_code == 401


@pytest.mark.parametrize(
    "origin", [None, "null", "http://127.0.0.1:9999", f"https://{HOST}", f"http://localhost:{PORT}", "http://evil.test"]
)
def test_a_form_from_another_page_is_refused(desk: Desk, origin: str | None) -> None:
    desk.enter()
    headers = {"origin": origin} if origin else {}
    assert desk.client.post("/leave", data={"word": desk.word}, headers=headers).status_code == 403
    assert desk.client.get("/").status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none, same-origin"])
def test_what_another_site_asks_for_is_refused(desk: Desk, site: str) -> None:
    desk.enter()
    assert desk.client.get("/", headers={"sec-fetch-site": site}).status_code == 403
    assert (
        desk.client.post("/leave", data={"word": desk.word}, headers={**OWN, "sec-fetch-site": site}).status_code == 403
    )
    navigating = {"sec-fetch-site": site, "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert desk.client.get("/", headers=navigating).status_code == 403  # with the cookie: not from a strict browser


@pytest.mark.parametrize("word", ["", "x", "ü"])
def test_a_form_without_this_sessions_word_is_refused(desk: Desk, word: str) -> None:
    desk.enter()
    answer = desk.client.post("/leave", data={"word": word}, headers=OWN)
    assert answer.status_code == 403
    assert "too old" in answer.text
    assert desk.client.get("/").status_code == 200


def test_the_word_of_another_session_does_not_serve(desk: Desk) -> None:
    desk.enter()
    word = desk.word
    desk.client.cookies.clear()
    desk.enter()
    assert desk.word != word
    assert desk.client.post("/leave", data={"word": word}, headers=OWN).status_code == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(desk: Desk, method: str) -> None:
    desk.enter()
    assert desk.client.request(method, "/", headers=OWN).status_code == 405


def test_too_much_or_of_unknown_length_is_refused(desk: Desk) -> None:
    desk.enter()
    large = {**OWN, "content-type": "application/x-www-form-urlencoded"}
    assert desk.client.post("/leave", content=b"a" * 200_001, headers=large).status_code == 413
    assert desk.client.post("/leave", content=iter([b"a"]), headers=large).status_code == 411
    unread = {**OWN, "content-length": str(65 * 1_000_000)}
    assert desk.client.post("/upload", headers=unread).status_code == 413


@pytest.mark.parametrize("path", ["/", "/nothing", "/static/desk.css", "/open?key=x"])
def test_every_answer_carries_the_same_protection(desk: Desk, path: str) -> None:
    desk.enter()
    for answer in (desk.client.get(path), desk.client.get(path, headers={"host": "evil.test"})):
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert answer.headers["cross-origin-opener-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_fault_of_ours_is_a_sentence_with_the_same_protection(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.enter()
    monkeypatch.setattr("pipeline.desk_arrived.heard_rows", lambda _room: 1 / 0)
    answer = desk.client.get("/")
    assert answer.status_code == 500
    assert "A fault of ours" in answer.text
    assert "division" not in answer.text
    assert answer.headers["x-frame-options"] == "DENY"


def test_a_page_left_while_its_form_comes_is_no_fault_of_ours(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    desk.enter()
    cookie = "; ".join(f"{name}={value}" for name, value in desk.client.cookies.items())
    headers = {**OWN, "host": HOST, "cookie": cookie, "content-length": "50",
               "content-type": "application/x-www-form-urlencoded"}  # fmt: skip
    scope = {
        "type": "http", "method": "POST", "path": "/leave", "query_string": b"", "http_version": "1.1",
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
    }  # fmt: skip
    sent: list[object] = []

    async def receive() -> dict[str, object]:
        return {"type": "http.disconnect"}

    async def send(message: object) -> None:
        sent.append(message)

    async def left() -> None:
        await desk.client.app(scope, receive, send)

    asyncio.run(left())
    assert (sent, caplog.text) == ([], "")


def test_through_a_proxy_as_described_one_works_and_a_foreign_page_still_does_not(desk: Desk) -> None:
    start = desk.keys.address(PORT).removeprefix(f"http://{HOST}")
    forwarded = {"x-forwarded-for": "192.0.2.7", "x-forwarded-host": "desk.example", "x-forwarded-proto": "https"}
    assert desk.client.get(start, headers=forwarded).headers["location"] == "/"  # no address of ours in it
    word = {"word": desk.word}
    for origin in ("https://evil.example", "https://desk.example", "null"):  # what no proxy has put in its place
        assert desk.client.post("/leave", data=word, headers={**forwarded, **OWN, "origin": origin}).status_code == 403
    for_own = {**forwarded, **OWN, "sec-fetch-site": "cross-site"}
    assert desk.client.post("/leave", data=word, headers=for_own).status_code == 403
    assert desk.client.get("/", headers={**forwarded, "host": "desk.example"}).status_code == 421
    assert desk.client.post("/leave", data=word, headers={**forwarded, **OWN}).status_code == 200
