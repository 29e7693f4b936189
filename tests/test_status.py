"""`baywright status`: what a desk wants to know, whatever state the studio is in, without changing anything."""

import datetime as dt
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest

from pipeline import arrivals, health, notes, status, studio
from pipeline.archive import DRIFTING
from pipeline.commands.status import listed, sentences, span
from pipeline.ledger import Entry, Ledger
from pipeline.letter import Letter
from pipeline.records import Refusal
from pipeline.settings import load
from pipeline.status import Status, collect
from pipeline.studio import Studio
from tests.test_health import GOOD, NOW

Run = Callable[..., tuple[int, str, str]]
ROOT = Path(__file__).resolve().parent.parent
NASTY = "a\x1b[2J\n Waits: All is well.\u202e"
HELD = Refusal("held", 3, "No unit is stated for 'Carry' (m or yd).", "a.csv", "Write it.", '--unit "Carry=…"')
BACK = Refusal("set_back", 2, "This is no table of shots.", "a.csv", "Export the shots as CSV text.")


class Desk:
    """A studio whose ledger and notes say what the test wants."""

    def __init__(self, place: Studio) -> None:
        self.place = place
        self.ledger = Ledger(place.work / "ledger.sqlite3")
        self.settings = load("")

    def note(self, name: str, state: str, refusal: Refusal | None = None) -> Path:
        """Note a visit, with its note in set-back/ if it was refused."""
        entry = Entry(
            f"{len(self.ledger.entries('held', 'set_back', 'accepted')):08}{name}", name, "accepted", 0, None, ()
        )
        self.ledger.accept(entry, (name, name), "2026-11-25T12:00:00+00:00")
        plain = studio.safe_name(name)
        self.ledger.move(entry.id, state, plain)
        path = self.place.set_back / f"{plain}.txt"
        if refusal:
            path.write_text(notes.note_text(entry, refusal, self.place.set_back / plain), encoding="utf-8")
        return path

    def look(self, now: dt.datetime = NOW, faults: tuple[str, ...] = ()) -> Status:
        return collect(self.place, self.settings, self.ledger, faults, now)

    def said(self, **changes: Any) -> str:  # noqa: ANN401 - any field
        return "\n".join(sentences(replace(self.look(), **changes)))


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio.create(tmp_path / "studio")


@pytest.fixture
def desk(place: Studio) -> Iterator[Desk]:
    made = Desk(place)
    yield made
    made.ledger.close()


# --- the watcher ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("changes", "locked", "alive", "state"),
    [
        (None, False, False, "never"),
        (None, True, False, "busy"),
        ({}, True, True, "running"),
        ({"looked_ago_s": 58.0}, True, True, "silent"),
        ({}, False, False, "ended"),
        ({}, False, True, "ended"),  # another process has its number now
        ({}, True, False, "busy"),  # it died, and `process` is at work
        ({"state": "stopped"}, False, False, "stopped"),
        ({"state": "stopped"}, True, True, "busy"),
    ],
)
def test_what_a_watcher_is_doing(changes: dict[str, object] | None, state: str, *, locked: bool, alive: bool) -> None:
    known = None if changes is None else replace(GOOD, **changes)  # type: ignore[arg-type]
    found = status.watcher_state(known, NOW, locked=locked, alive=alive)
    assert found.state == state
    if known and state in ("running", "silent"):
        assert (found.since, found.hints) == (GOOD.started, "events")
        assert found.looked_ago_s == 3 + (known.looked_ago_s or 0)
    else:
        assert found.since == (known.written if known else None)
        assert (found.looked_ago_s, found.hints) == (None, None)


def test_a_lock_is_seen_and_not_taken(place: Studio) -> None:
    assert not status.is_locked(place)
    assert not (place.work / "lock").exists()
    held = studio.lock(place)
    assert status.is_locked(place)
    held.release()
    assert not status.is_locked(place)
    studio.lock(place).release()


# --- what needs a person ----------------------------------------------------------------------------------------------
def test_a_new_studio_is_well(desk: Desk) -> None:
    found = desk.look()
    assert (found.exit_code, found.needs, found.not_taken, found.waiting) == (0, (), (), ())
    assert desk.said().endswith("\nAll is well.")


def test_held_and_set_back_visits_ask_until_their_note_is_gone(desk: Desk) -> None:
    held, back = desk.note("tuesday.csv", "held", HELD), desk.note("bad.csv", "set_back", BACK)
    found = desk.look()
    copy = (desk.place.set_back / "tuesday.csv").resolve()
    assert found.exit_code == 3
    assert [asdict(visit) for visit in (*found.held, *found.set_back)] == [
        {
            "name": "tuesday.csv", "what": HELD.what, "to_do": "Write it.", "note": "set-back/tuesday.csv.txt",
            "command": f'baywright answer "{copy}" --unit "Carry=…"',
        },
        {
            "name": "bad.csv", "what": BACK.what, "to_do": BACK.to_do, "note": "set-back/bad.csv.txt", "command": "",
        },
    ]  # fmt: skip
    said = desk.said()
    assert "Waits for your answer: tuesday.csv. No unit is stated for 'Carry' (m or yd).\n" in said
    assert f'  Answer, with yours in place of …: baywright answer "{copy}" --unit "Carry=…"\n' in said
    assert "Set back: bad.csv. This is no table of shots.\n  Export the shots as CSV text.\n" in said
    assert said.endswith(
        "Needs you: 1 visit waits for an answer; "
        "1 visit was set back (delete the note in set-back/ when that is settled)."
    )
    held.unlink()
    assert desk.look().exit_code == 2
    back.unlink()
    assert (desk.look().exit_code, desk.look().needs) == (0, ())


def test_the_gravest_need_gives_the_exit_code(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.note("a.csv", "held", HELD)
    desk.note("b.csv", "held", HELD)
    desk.note("c.csv", "set_back", BACK)
    assert desk.look().needs[0] == "2 visits wait for an answer"
    found = desk.look(faults=("studio.toml, line 1: unknown key.",))
    assert (found.exit_code, found.needs[0]) == (6, "a setting or an answer is not understood")
    monkeypatch.setattr(health, "free_bytes", lambda _folder: health.RESERVE_BYTES - 1)
    found = desk.look(faults=("studio.toml, line 1: unknown key.",))
    assert (found.exit_code, found.low_disk) == (7, True)
    assert found.needs[0] == "the disk is nearly full (make room, and the watcher goes on by itself)"
    monkeypatch.setattr(health, "free_bytes", lambda _folder: health.RESERVE_BYTES)
    assert not desk.look().low_disk


def test_a_watcher_that_is_gone_needs_a_person(desk: Desk) -> None:
    start = f'no watcher runs (start it: baywright watch "{desk.place.root.resolve()}")'
    (desk.place.inbox / "a.csv").write_text("shots", encoding="utf-8")
    assert desk.look().needs == (start,)  # none has ever run, and something lies there
    (desk.place.inbox / "a.csv").unlink()
    for state in ("running", "stopped"):
        health.write(desk.place, replace(GOOD, state=state))
        assert (desk.look().exit_code, desk.look().needs) == (7, (start,))
    assert "No watcher runs. It was stopped at 2026-11-25" in desk.said()


def test_a_silent_watcher_and_lasting_trouble_need_a_person(desk: Desk) -> None:
    held = studio.lock(desk.place)
    health.write(desk.place, replace(GOOD, pid=os.getpid(), trouble=("The disk or a folder refused: No space.",)))
    found = desk.look()
    assert (found.exit_code, found.needs) == (7, ("the watcher meets trouble that lasts",))
    assert "Trouble: The disk or a folder refused: No space." in desk.said()
    health.write(desk.place, replace(GOOD, pid=os.getpid(), looked_ago_s=200.0))
    found = desk.look()
    assert found.exit_code == 7
    assert found.needs[0].startswith("the watcher does not look any more (stop it and start it again: baywright watch ")
    assert "does not answer: its last look is 3 minutes old." in desk.said()
    held.release()


def test_a_drop_folder_that_is_away_is_said(desk: Desk) -> None:
    desk.place.inbox.rmdir()
    found = desk.look()
    assert (found.not_taken, found.exit_code, found.needs) == (None, 7, ("the drop folder cannot be looked at",))
    assert "The drop folder inbox/ cannot be looked at." in desk.said()


# --- what waits -------------------------------------------------------------------------------------------------------
def test_what_waits_is_named_until_it_is_taken(desk: Desk) -> None:
    for name in ("a.csv", "b.csv", "c.csv.part"):
        (desk.place.inbox / name).write_text(name, encoding="utf-8")
    [first, _] = arrivals.look(desk.place.inbox)
    desk.ledger.accept(Entry("1", "a", "accepted", 0, None, ()), (first.place, first.signature), "2026")
    desk.note("in hand", "processing")
    desk.note("half", "waiting")
    found = desk.look()
    assert found.not_taken == ("b.csv",)
    assert {(visit.name, visit.state) for visit in found.waiting} == {
        ("a", "waits"), ("in hand", "worked on"), ("half", "half-written"),
    }  # fmt: skip
    said = desk.said()
    assert "Lies in inbox/ and is not taken yet: b.csv.\nIs being worked on: in hand.\nWaits for its turn: a.\n" in said
    assert "Looks half-written and waits for its end: half." in said
    assert "Nothing waits" not in said


def test_many_names_are_counted() -> None:
    assert listed([str(number) for number in range(10)]) == "0, 1, 2, 3, 4, 5, 6, 7, 8, 9"
    assert listed([str(number) for number in range(12)]) == "0, 1, 2, 3, 4, 5, 6, 7, 8, 9 and 2 more"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.2, "0 seconds"), (1, "1 second"), (59, "59 seconds"), (60, "1 minute"), (7_100, "1 hour"), (10**6, "11 days")],
)
def test_lengths_of_time(seconds: float, said: str) -> None:
    assert span(seconds) == said


def test_the_newest_reports_and_their_letters(desk: Desk) -> None:
    for number in range(7):
        folder = desk.place.outbox / f"visit {number}"
        folder.mkdir()
        (folder / "report.pdf").write_bytes(b"%PDF-" + bytes([number]))
        visit = {"id": f"id-{number}", "date": "2026-11-25", "version": 1 + number % 2}
        (folder / "fitting.json").write_text(json.dumps({"visit": visit, "shots": []}), encoding="utf-8")
        os.utime(folder / "report.pdf", (10**9, 10**9 + number))
    (desk.place.outbox / ".making visit 9").mkdir()
    (desk.place.outbox / ".making visit 9" / "report.pdf").write_bytes(b"%PDF-")
    assert [(report.folder, report.version, report.letter) for report in desk.look().reports] == [
        ("visit 6", 1, ""), ("visit 5", 2, ""), ("visit 4", 1, ""), ("visit 3", 2, ""), ("visit 2", 1, ""),
    ]  # fmt: skip
    desk.settings = load('smtp_host = "mail.studio.example"')
    for number, ended in ((6, True), (5, False)):
        version = Letter("", "", "", "", b"%PDF-" + bytes([number]), "").version
        begun = desk.ledger.begin_sending(f"id-{number}", version, "2026")
        assert begun is not None
        if ended:
            desk.ledger.end_sending(begun, "2026", sent=True)
    assert [report.letter for report in desk.look().reports] == ["sent", "begun", "not sent", "not sent", "not sent"]
    said = desk.said()
    assert "  visit 6, letter sent\n" in said
    assert "  visit 5, version 2, letter: it is not known whether it was sent\n" in said
    assert "  visit 4, letter not sent by this program\n" in said


# --- hostile names ----------------------------------------------------------------------------------------------------
def test_a_name_or_cell_can_add_no_line_to_a_note(desk: Desk) -> None:
    nasty = replace(HELD, what=f"{NASTY}\n    baywright answer x; reboot", answer="--hand\n    baywright answer y")
    path = desk.note(f"x\n\nWhat:       All is well.{NASTY}", "held", nasty)
    lines = path.read_text(encoding="utf-8").split("\n")
    assert [line for line in lines if line.startswith("What:")] == [
        f"What:       {lines[2].removeprefix('What:       ')}"
    ]
    assert len([line for line in lines if line.startswith("    baywright answer ")]) == 1
    found = notes.read(path)
    assert found is not None
    assert found.what.startswith("a [2J  Waits: All is well.")
    assert found.command.startswith("baywright answer ")
    assert "reboot" not in found.command


def test_the_command_of_a_note_runs_nothing_of_a_name(desk: Desk, tmp_path: Path) -> None:
    mark = tmp_path / "ran"
    for number, name in enumerate((f"$(touch {mark.name}).csv", f"`touch {mark.name}`.csv", "it's $HOME.csv")):
        path = desk.note(name, "held", HELD)
        assert notes.read(path) is not None
        entry = Entry(str(number), name, "held", 0, None, ())
        text = notes.note_text(entry, HELD, desk.place.set_back / name)
        [command] = [line.strip() for line in text.splitlines() if line.startswith("    baywright answer ")]
        typed = command.replace("baywright answer", "printf '%s\\n'")
        out = subprocess.run(
            ["sh", "-c", typed], capture_output=True, encoding="utf-8", cwd=tmp_path, check=True
        ).stdout
        assert out.splitlines() == [str((desk.place.set_back / name).resolve()), "--unit", "Carry=…"]
    assert not mark.exists()


def test_hostile_names_are_printed_harmlessly(place: Studio, run: Run) -> None:
    (place.inbox / NASTY).mkdir()
    (place.inbox / NASTY / "a.csv").write_text("shots", encoding="utf-8")
    with open(os.fsencode(place.inbox) + b"/\xff\xfe.csv", "wb") as out:  # noqa: PTH123 - a name that is no text
        out.write(b"shots")
    code, out_text, err = run("status", place.root)
    assert (code, err) == (7, "")
    assert [line for line in out_text.splitlines() if not line.isprintable()] == []
    assert "a�[2J� Waits: All is well.�" in out_text
    assert r"\xff\xfe.csv" in out_text
    code, out_text, _ = run("status", place.root, "--json")
    assert NASTY in json.loads(out_text)["not_taken"]
    assert out_text.isascii()


# --- the command ------------------------------------------------------------------------------------------------------
def snapshot(folder: Path) -> dict[str, int]:
    return {str(path.relative_to(folder)): path.stat().st_mtime_ns for path in folder.rglob("*")}


def test_it_changes_nothing_and_makes_nothing(place: Studio, run: Run) -> None:
    (place.inbox / "a.csv").write_text("shots", encoding="utf-8")
    before = snapshot(place.root)
    assert run("status", place.root)[0] == 7
    assert snapshot(place.root) == before


def test_a_folder_that_is_no_studio(tmp_path: Path, run: Run) -> None:
    code, out, err = run("status", tmp_path)
    assert (code, out) == (7, "")
    assert err == f'baywright: {tmp_path} is no studio folder. Make one with: baywright init "{tmp_path}"\n'


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("studio.toml", "papr = 'A4'", "studio.toml, line 1: unknown key 'papr'. Did you mean 'paper'?"),
        ("work/profiles/bay 3.toml", "nonsense", "bay 3.toml: not readable as TOML"),
    ],
)
def test_settings_and_answers_that_do_not_read_are_said(
    place: Studio, run: Run, name: str, content: str, said: str
) -> None:
    (place.root / name).write_text(content, encoding="utf-8")
    code, out, _ = run("status", place.root)
    assert code == 6
    [line] = [line for line in out.splitlines() if line.startswith("Not understood: ")]
    assert said in line
    assert out.endswith("Needs you: a setting or an answer is not understood.\n")


def test_a_ledger_that_cannot_be_used_is_said(place: Studio, run: Run) -> None:
    (place.work / "ledger.sqlite3").write_bytes(b"no database" * 100)
    code, out, _ = run("status", place.root)
    assert code == 6
    assert "Not understood: " in out
    assert "the ledger cannot be used" in out


# --- for other programs -----------------------------------------------------------------------------------------------
VISIT = {"name": str, "what": str, "to_do": str, "command": str, "note": str}
SHAPE: dict[str, Any] = {
    "schema": int, "studio": str, "at": str, "exit_code": int, "needs": [str], "faults": [str],
    "watcher": {
        "state": {"running", "silent", "stopped", "ended", "never", "busy"}, "since": (str, None),
        "looked_ago_s": (float, None), "hints": ("events", "looks", None), "hints_why": str,
        "working_on": (str, None), "working_since": (str, None), "trouble": [str],
    },
    "not_taken": ([str], None),
    "waiting": [{"name": str, "state": {"waits", "worked on", "half-written"}}],
    "archived": int, "not_archived": int, "backlog": bool, "held": [VISIT], "set_back": [VISIT],
    "reports": [{"folder": str, "version": int, "letter": {"", "sent", "begun", "not sent"}}],
    "free_bytes": int, "low_disk": bool, "drifting": [str],
}  # fmt: skip


def fits(value: object, shape: Any) -> bool:  # noqa: ANN401 - a type, a choice, or a container of those
    """Tell whether a value has a shape: a type, choices of words, alternatives, a list of one shape, or keys."""
    if isinstance(shape, tuple):
        return any(fits(value, one) for one in shape)
    if isinstance(shape, list):
        return isinstance(value, list) and all(fits(each, shape[0]) for each in value)
    if isinstance(shape, dict):
        return (
            isinstance(value, dict) and set(value) == set(shape) and all(fits(value[key], shape[key]) for key in shape)
        )
    if isinstance(shape, set):
        return value in shape
    return type(value) is shape if isinstance(shape, type) else value == shape


def test_the_shape_tells_right_from_wrong() -> None:
    assert fits({"a": [1], "b": None}, {"a": [int], "b": (str, None)})
    assert not fits({"a": [1.0]}, {"a": [int]})
    assert not fits({"a": 1, "c": 1}, {"a": int})
    assert not fits(True, int)


def test_json_says_the_same_and_keeps_its_shape(desk: Desk, run: Run) -> None:
    desk.note("tuesday.csv", "held", HELD)
    desk.note("bad.csv", "set_back", BACK)
    desk.note("next", "accepted")
    health.write(desk.place, GOOD)
    code, out, err = run("status", desk.place.root, "--json")
    document = json.loads(out)
    assert (code, err, document["exit_code"], document["schema"]) == (7, "", 7, 1)
    assert fits(document, SHAPE)
    assert {key: document[key] for key in ("held", "set_back", "waiting")} == {
        key: [asdict(visit) for visit in getattr(desk.look(), key)] for key in ("held", "set_back", "waiting")
    }
    held = studio.lock(desk.place)
    health.write(desk.place, replace(GOOD, pid=os.getpid()))
    document = json.loads(run("status", desk.place.root, "--json")[1])
    held.release()
    assert document["watcher"]["state"] == "silent"  # the record is of another day
    assert fits(document, SHAPE)


def test_readme_names_every_key_of_the_json() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    part = readme[readme.index("### status --json") :].split("\n#")[0]

    def keys(shape: object) -> Iterator[str]:
        if isinstance(shape, dict):
            yield from shape
            for inside in shape.values():
                yield from keys(inside)
        elif isinstance(shape, list | tuple):
            for inside in shape:
                yield from keys(inside)

    assert {key for key in keys(SHAPE) if not re.search(rf"\b{key}\b", part)} == set()


# --- real processes ---------------------------------------------------------------------------------------------------
@pytest.fixture
def watching(place: Studio) -> Iterator[subprocess.Popen[bytes]]:
    """A real watcher that has looked at least once."""
    (place.root / "studio.toml").write_text("settle_seconds = 0.3\nscan_seconds = 0.1\n", encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "watch", str(place.root)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    end = time.monotonic() + 30
    while not ((found := health.read(place)) and found.looked) and time.monotonic() < end:
        time.sleep(0.02)
    yield process
    process.kill()
    process.wait(timeout=30)


def test_a_real_watcher_runs_is_silent_goes_on_and_is_stopped(
    place: Studio, watching: subprocess.Popen[bytes], run: Run
) -> None:
    code, out, _ = run("status", place.root)
    assert (code, out.splitlines()[-1]) == (0, "All is well.")
    assert re.search(r"^A watcher runs since .*\. Its last look was \d seconds? ago\.$", out, re.MULTILINE)
    assert "File events tell it of new files at once" in out
    watching.send_signal(signal.SIGSTOP)
    later = dt.datetime.now(dt.UTC) + dt.timedelta(seconds=66)
    found = collect(place, None, None, (), later)
    assert (found.watcher.state, found.exit_code) == ("silent", 7)
    watching.send_signal(signal.SIGCONT)
    watching.terminate()
    assert watching.wait(timeout=30) == 0
    code, out, _ = run("status", place.root)
    assert code == 7
    assert "No watcher runs. It was stopped at " in out


def test_a_killed_watcher_is_not_taken_for_a_stopped_one(
    place: Studio, watching: subprocess.Popen[bytes], run: Run
) -> None:
    watching.kill()
    watching.wait(timeout=30)
    code, out, _ = run("status", place.root)
    assert code == 7
    assert "No watcher runs. It ended without being stopped (killed, switched off or a fault) after " in out


def test_a_bay_whose_device_drifts_is_said(desk: Desk) -> None:
    said = "Bay 2 reads ball/club ratio higher."
    assert said not in desk.said()
    desk.ledger.changed(DRIFTING, json.dumps([said]))
    assert desk.look().drifting == (said,)
    assert said in desk.said()
