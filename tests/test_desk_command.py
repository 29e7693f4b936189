"""`baywright desk`: the program itself, over a real port."""

import os
import re
import signal
import socket
import stat
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError

import pytest

from pipeline import studio as studio_module
from pipeline.desk_keys import DeskKeys
from pipeline.studio import Studio, lock

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio_module.create(tmp_path / "studio")


@contextmanager
def started(place: Studio, *words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Start the desk; gives the process and its start address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "desk", str(place.root), "--no-browser", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=Path(__file__).parent.parent,
    )  # fmt: skip
    try:
        assert process.stdout
        found = re.search(r"http://127\.0\.0\.1:\d+/open\?key=\S+", process.stdout.readline())
        assert found
        yield process, found.group()
    finally:
        process.kill()
        process.communicate()


def browser() -> urllib.request.OpenerDirector:
    return urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))


@pytest.mark.parametrize("address", ["0.0.0.0", "::", "192.168.1.2", "studio.local", ""])  # noqa: S104 - what is refused
def test_it_listens_for_no_other_computer(run: Run, place: Studio, address: str) -> None:
    code, _, said = run("desk", place.root, "--address", address, "--no-browser")
    assert code == 6
    assert "reverse proxy" in said


def test_a_port_that_is_taken_or_none_is_refused(run: Run, place: Studio) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        code, _, said = run("desk", place.root, "--port", taken.getsockname()[1], "--no-browser")
    assert (code, "cannot be listened on" in said) == (7, True)
    assert run("desk", place.root, "--port", 70_000, "--no-browser")[0] == 6


def test_beside_a_watcher_it_says_how_to_have_both(run: Run, place: Studio) -> None:
    held = lock(place)
    try:
        code, _, said = run("desk", place.root, "--no-browser")
    finally:
        held.release()
    assert (code, "--without-watcher" in said) == (7, True)
    assert DeskKeys(place).port() is None


def test_the_files_of_the_way_in_are_their_owners(place: Studio) -> None:
    keys = DeskKeys(place)
    keys.note_port(1)
    keys.address(1)
    for name in ("desk-key", "desk-port"):
        assert stat.S_IMODE((place.work / name).stat().st_mode) == 0o600
    keys.clear()
    assert not list(place.work.glob("desk-*"))


@pytest.mark.parametrize("content", [None, "", "x"])
def test_a_desk_that_is_starting_cannot_be_opened_yet(run: Run, place: Studio, content: str | None) -> None:
    held = DeskKeys(place).hold()
    assert held
    if content is not None:
        (place.work / "desk-port").write_text(content, encoding="utf-8")
    code, _, said = run("desk", place.root, "--no-browser")
    held.release()
    assert (code, "is starting or ending" in said) == (7, True)


def test_the_second_start_opens_the_desk_that_runs(run: Run, place: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    keys = DeskKeys(place)
    held = keys.hold()
    assert held
    keys.note_port(8123)
    code, said, _ = run("desk", place.root)
    held.release()
    assert code == 0
    [address] = opened
    assert address in said
    assert address.startswith("http://127.0.0.1:8123/open?key=")
    assert keys.use_up(address.rpartition("=")[2])
    assert not keys.use_up(address.rpartition("=")[2])


@pytest.mark.slow
def test_the_program_watches_serves_and_ends_when_asked(place: Studio, run: Run) -> None:
    with started(place) as (process, address):
        own = browser()
        assert "What arrived" in own.open(address).read().decode()
        with pytest.raises(HTTPError, match="401"):
            browser().open(address)
        code, said, _ = run("desk", place.root, "--no-browser")  # the icon pressed a second time
        again = re.search(r"http://\S+", said)
        assert (code, "runs already" in said) == (0, True)
        assert again
        assert "What arrived" in browser().open(again.group()).read().decode()
        assert run("status", place.root)[0] == 0
        process.send_signal(signal.SIGTERM)
        assert process.wait(30) == 0
    assert [path.name for path in place.work.glob("desk-[!l]*")] == []
    assert '"state": "stopped"' in (place.work / "health.json").read_text(encoding="utf-8")


@pytest.mark.slow
def test_it_listens_on_this_computer_alone(place: Studio) -> None:
    with started(place, "--without-watcher") as (_, address):
        port = int(address.split(":")[2].split("/")[0])
        listening = Path("/proc/net/tcp").read_text(encoding="ascii") if os.name == "posix" else ""
        lines = [line.split()[1] for line in listening.splitlines()[1:] if line.split()[3] == "0A"]
        assert [at for at in lines if at.endswith(f":{port:04X}")] == [f"0100007F:{port:04X}"]
