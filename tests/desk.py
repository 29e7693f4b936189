"""A desk on the bench: the app as a browser meets it, with an intake that moves when the test says so."""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.testclient import TestClient

from pipeline import desk_app, workshop
from pipeline.desk_keys import DeskKeys
from pipeline.desk_room import OwnWatcher, Room
from pipeline.ledger import Entry
from tests.conftest import Bench

if TYPE_CHECKING:
    from httpx2 import Response

PORT = 8123
HOST = f"127.0.0.1:{PORT}"
OWN_SCRIPTS = [f'<script src="/static/{name}" defer>' for name in ("forms.js", "htmx.min.js")]
OWN = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}


def scripts(page: str) -> list[str]:
    """Give the beginning of every script on a page."""
    return re.findall(r"<script[^>]*>", page)


@dataclass
class Desk:
    """The room, the app's client before and after the door, and a clock set by hand."""

    bench: Bench
    room: Room
    client: TestClient
    keys: DeskKeys
    now: float = 0.0

    def enter(self) -> None:
        """Come in by the start address."""
        answer = self.client.get(self.keys.address(PORT).removeprefix(f"http://{HOST}"))
        assert answer.status_code == 303

    @property
    def word(self) -> str:
        """Give the word this session's forms carry."""
        return self.client.get("/").text.split('name="word" value="')[1].split('"')[0]

    def post(self, path: str, **fields: str) -> "Response":
        """Send a form of this session."""
        return self.client.post(path, data={"word": self.word, **fields}, headers=OWN)

    def go(self) -> None:
        """Let the intake take and work off what lies there."""
        assert self.room.own
        self.bench.go(self.room.own.inbox)


def desk_on(bench: Bench) -> Desk:
    """Make a desk on a bench."""
    inbox = bench.open()
    room = Room(bench.studio, inbox.settings, inbox.ledger, workshop.SHARED, workshop.SHARED, own=OwnWatcher(inbox))
    inbox.tell = room.hear
    keys = DeskKeys(bench.studio)
    made = Desk(bench, room, TestClient.__new__(TestClient), keys)
    app = desk_app.make(room, keys, PORT, lambda: made.now)
    made.client = TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)
    return made


def entry(desk: Desk) -> Entry:
    """Give the only visit with a report."""
    [found] = desk.room.ledger.entries("reported")
    return found


def page(desk: Desk) -> str:
    """Give the page of the only visit with a report."""
    return desk.client.get(f"/visit/{entry(desk).id}").text
