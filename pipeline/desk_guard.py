"""Who may talk to the desk: this computer's own browser page alone, let in once by the key of the start address."""

import hmac
import secrets
from collections.abc import Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any, Protocol
from urllib.parse import parse_qs

from starlette.datastructures import MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OPEN, LEAVE = "/open", "/leave"
REFRESH = "hx-request"  # a header of what a page asks by itself
LONGEST_DISUSE_S = 4 * 3600.0
_MOST_SESSIONS = 20  # the oldest one ends when there would be more
_MOST_FORM_BYTES = 200_000
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
_HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # with no-referrer a browser sends Origin: null with our own forms
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}


class Keys(Protocol):
    """Where the one-time key of the start address is kept."""

    def use_up(self, key: str) -> bool:
        """Tell whether this is the key, which is then good no more."""


@dataclass(slots=True)
class Session:
    """Somebody who came in by the start address; `word` is what the forms of this session carry."""

    used_at: float
    said: str = ""  # what came of the last form, for the page that follows
    word: str = field(default_factory=lambda: secrets.token_urlsafe(24))


@dataclass(slots=True)
class Sessions:
    """Who is in; a session ends after hours of disuse, by the clock that does not jump."""

    clock: Callable[[], float]
    _open: dict[str, Session] = field(default_factory=dict)

    def begin(self) -> str:
        """Let somebody in; gives the session's name."""
        while len(self._open) >= _MOST_SESSIONS:
            self.end(min(self._open, key=lambda name: self._open[name].used_at))
        name = secrets.token_urlsafe(32)
        self._open[name] = Session(self.clock())
        return name

    def find(self, name: str, *, by_itself: bool = False) -> Session | None:
        """Give a session that has not ended; it is in use unless the page asked by itself, as it does now and then."""
        found = self._open.get(name)
        if found is None or self.clock() - found.used_at > LONGEST_DISUSE_S:
            self.end(name)
            return None
        if not by_itself:
            found.used_at = self.clock()
        return found

    def end(self, name: str) -> None:
        """End a session."""
        self._open.pop(name, None)


class Guard:
    """Stands before the whole app; what it lets through carries its session in the scope."""

    def __init__(
        self, app: ASGIApp, *, port: int, keys: Keys, sessions: Sessions, most_upload_bytes: Callable[[], int],
        fault: Callable[[Exception], Response],
    ) -> None:  # fmt: skip
        self._app, self._keys, self._sessions, self._fault = app, keys, sessions, fault
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self._cookie = f"baywright-desk-{port}"  # cookies know no ports: two desks must not take each other's away
        self._most_upload_bytes = most_upload_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer by itself what may not go through."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # a web socket: it is closed unanswered
            await send({"type": "websocket.close", "code": 1008})
            return
        out = _Sender(send)
        try:
            await (self._answer(scope) or self._app)(scope, receive, out)
        except ClientDisconnect:  # the page was left while its form came: nobody is there to be told
            return
        except Exception as fault:  # noqa: BLE001 - the last net: a sentence for staff, and the desk goes on
            said = self._fault(fault)
            if not out.begun:
                await said(scope, receive, out)

    def _answer(self, scope: Scope) -> Response | None:
        """Give the answer to what is not let through: a refusal, or the way in or out; None lets it through."""
        headers = _headers(scope)
        refused = self._refusal(scope["method"], scope["path"], headers)
        if refused:
            return refused
        name = _cookie(headers, self._cookie)
        if scope["path"] == OPEN:
            return self._way_in(parse_qs(scope["query_string"].decode("latin-1")), name)
        session = self._sessions.find(name, by_itself=scope["method"] == "GET" and REFRESH in headers)
        if session is None:
            return _page(401, "The desk is closed", "Start it again: double-click its icon, or type baywright desk.")
        scope["desk_session"], scope["desk_leave"] = session, lambda: self._sessions.end(name)
        return None

    def _refusal(self, method: str, path: str, headers: MutableMapping[str, list[str]]) -> Response | None:
        """Refuse a wrong address, another page's request, and too much of it."""
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return _page(421, "Wrong address", "This is not the address of the desk.")
        if method not in ("GET", "HEAD", "POST"):
            return _page(405, "Not possible", "The desk does not know what that means.")
        site = headers.get("sec-fetch-site", ["same-origin"])
        if site not in (["same-origin"], ["none"]) and not _is_followed_link(method, headers):
            return _page(403, "Refused", "Another page asked for this, not the desk.")
        if method != "POST":
            return None
        if headers.get("origin") != [f"http://{hosts[0]}"]:
            return _page(403, "Refused", "Another page sent this form, not the desk.")
        return self._too_much(path, headers)

    def _too_much(self, path: str, headers: MutableMapping[str, list[str]]) -> Response | None:
        """Refuse what does not say how long it is, or is too long; the server holds it to what it says."""
        said = headers.get("content-length", [])
        if len(said) != 1 or not said[0].isdecimal() or "transfer-encoding" in headers:
            return _page(411, "Refused", "It is not said how long this is.")
        most = self._most_upload_bytes() if path == "/upload" else _MOST_FORM_BYTES
        if int(said[0]) > most:
            return _page(413, "Too large", f"At most {most / 1_000_000:.0f} MB can be sent at once.")
        return None

    def _way_in(self, query: dict[str, list[str]], name: str) -> Response:
        if self._keys.use_up(query.get("key", [""])[0]):
            answer = RedirectResponse("/", 303)
            new = self._sessions.begin()
            answer.set_cookie(self._cookie, new, httponly=True, samesite="strict", path="/")
            return answer
        if self._sessions.find(name):
            return RedirectResponse("/", 303)
        return _page(401, "This address was used before", "It serves once. Start the desk again for a new one.")


def _headers(scope: Scope) -> MutableMapping[str, list[str]]:
    found: dict[str, list[str]] = {}
    raw: Iterable[tuple[bytes, bytes]] = scope["headers"]
    for name, value in raw:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _is_followed_link(method: str, headers: MutableMapping[str, list[str]]) -> bool:
    """Tell whether somebody followed a link to us: the cookie does not come along, so there is nothing to see."""
    navigates = headers.get("sec-fetch-mode") == ["navigate"] and headers.get("sec-fetch-dest") == ["document"]
    return method == "GET" and navigates and "cookie" not in headers


def _cookie(headers: MutableMapping[str, list[str]], name: str) -> str:
    try:
        found = SimpleCookie("; ".join(headers.get("cookie", []))).get(name)
    except CookieError:
        return ""
    return found.value if found else ""


def _page(code: int, what: str, to_do: str) -> Response:
    html = (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{what}</title></head>'
        "<body><main><h1>{what}</h1><p>{to_do}</p></main></body></html>"
    )
    return HTMLResponse(html.format(what=what, to_do=to_do), code)


class _Sender:
    """Puts our headers on an answer; a page may bring a stricter policy of its own."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        """Send a part of the answer."""
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            headers.setdefault("content-security-policy", POLICY)
            headers.update(_HEADERS)
        await self._send(message)


def is_form_word(scope: Scope, form: Any) -> bool:  # noqa: ANN401 - a form as it came
    """Tell whether a form was made for this session."""
    session: Session = scope["desk_session"]
    return hmac.compare_digest(str(form.get("word", "")).encode(), session.word.encode())
