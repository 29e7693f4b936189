"""The child process: what it works on may hang, eat memory, die or lie, and the next visit is worked out all the same.

A stand-in for the renderer, and for what works a visit out, does what the page or the visit's name says.
"""

import datetime as dt
import errno
import os
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import settings, studio, work_messages
from pipeline.branding import Logo
from pipeline.errors import MissingPartError, ReportError
from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread
from pipeline.records import Given, Refusal
from pipeline.work_messages import Job, Worked
from pipeline.workshop import FaultError, Limits, StoppedError, Workshop
from tests.conftest import NO_UNIT, TODAY
from tests.processes import killed_at_the_end

if TYPE_CHECKING:
    from pipeline.inbox import Inbox
    from tests.conftest import Bench

ROOT = Path(__file__).resolve().parent.parent
STAND_IN = """
import datetime as dt, os, signal, sys, time, types
__version__ = "0"
class urls:
    URLFetcher = object
class HTML:
    def __init__(self, string, base_url, url_fetcher):
        self.word, _, self.more = string.partition(" ")
    def write_pdf(self, **_):
        return getattr(self, self.word, self.say)() or b"%PDF- " + self.word.encode()
    def say(self): pass
    def hang(self): time.sleep(600)
    def nap(self): time.sleep(1)
    def stuck(self): (10**7) ** (10**7)  # one step of the interpreter: no thread of it runs meanwhile
    def eat(self):
        taken = []
        while True: taken.append(bytearray(10_000_000))
    def gobble(self):  # as a library does that ends the process when memory runs out
        taken = bytearray(800_000_000)
        taken[::4096] = bytes(len(taken[::4096]))
        os.abort()
    def die(self): os.abort()
    def quit(self): os._exit(0)
    def die_once(self):
        if not os.path.exists(self.more):
            open(self.more, "w").close()
            os.abort()
    def noise(self):
        print("noise", flush=True)
        os.write(1, b"noise")
    def unpack(self):
        import tempfile
        return tempfile.mkdtemp().encode()
    def fault(self): raise LookupError("no such thing")
    def deaf(self):
        for number in (signal.SIGINT, signal.SIGTERM): os.kill(os.getpid(), number)
    def files(self): return " ".join(sorted(os.listdir("/proc/self/fd"))).encode()

from pipeline.work_messages import Worked
visits = sys.modules["pipeline.visits"] = types.ModuleType("pipeline.visits")
def do(words): HTML(words, None, None).write_pdf()
def work_out(job):
    do("say" if job.name.startswith("later ") else job.name)
    return job.name
def worked(name, settings):
    return Worked(dt.date(2026, 11, 25), frozenset({"mark"}), 7 if name == "odd" else name, False)
def files(name, job, version, day):
    do(name.removeprefix("later ") if name.startswith("later ") else "say")
    pdf = b"x" * 100_000_001 if name == "huge" else f"{name} {version} {day}".encode()
    return {"../report.pdf" if name == "liar" else "report.pdf": pdf, "fitting.json": b"{}"}
def rows(name, job, studio, secret):
    return "../..11" if name == "liar" else "2026-11", job.identity.encode() + b"\\n"
def joined(paths, gone):
    lines = [line for path in paths for line in path.read_text().splitlines()]
    return "".join(f"{line}\\n" for line in sorted(lines) if line not in gone).encode()
visits.work_out, visits.worked, visits.files, visits.rows, visits.joined = work_out, worked, files, rows, joined
lessons = sys.modules["pipeline.lessons"] = types.ModuleType("pipeline.lessons")
lessons.learned = lambda paths, gone, studio, set_up: {"history": f"of {len(paths)}", "bays": ["Bay 2 drifts."]}
from pipeline.work_messages import Archived
batches = sys.modules["pipeline.visit_batches"] = types.ModuleType("pipeline.visit_batches")
def archive(batch):
    for job in batch.jobs: do(job.name)
    lines = "".join(f"{job.identity}\\n" for job in batch.jobs).encode()
    return Archived(("2026-11",) * len(batch.jobs), {"2026-11": lines})
batches.archive = archive
"""


def gone(pid: int, seconds: float = 5.0) -> bool:
    """Wait until a process has ended; one that nobody has asked about since counts as ended."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            os.kill(pid, 0)
            ended = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] == "Z"
            if ended and len(list(Path(f"/proc/{pid}/task").iterdir())) == 1:  # the last thread too
                return True
        except OSError:
            return True
        time.sleep(0.02)
    return False


def fake(folder: Path, source: str = STAND_IN) -> Path:
    (folder / "weasyprint").mkdir(exist_ok=True)
    (folder / "weasyprint" / "__init__.py").write_text(source, encoding="utf-8")
    return folder


@pytest.fixture
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the folder where children unpack things."""
    place = tmp_path / "scratch"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    return place


@pytest.fixture
def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Put the stand-in in the renderer's place."""
    (tmp_path / "fake").mkdir()
    monkeypatch.syspath_prepend(str(fake(tmp_path / "fake")))
    return tmp_path / "fake"


@pytest.fixture
def workshop(stand_in: Path, scratch: Path) -> Iterator[Workshop]:
    _ = stand_in
    made = Workshop(Limits(seconds=5.0, megabytes=200, visits=3))
    yield made
    made.close()
    assert list(scratch.iterdir()) == []


def job(name: str) -> Job:
    return Job(name, "id", (), settings.load(), TODAY, {})


def draw(workshop: Workshop, html: str) -> bytes:
    return workshop.draw(html, "id")


def made(workshop: Workshop, name: str, version: int = 1, day: dt.date | None = None) -> bytes:
    """Have a visit worked out and its files made."""
    worked = workshop.work_out(job(name))
    assert isinstance(worked, Worked)
    assert worked == Worked(dt.date(2026, 11, 25), frozenset({"mark"}), name, lacks_characters=False)
    return workshop.files(version, day)["report.pdf"]


def pid_of(workshop: Workshop) -> int:
    assert workshop.pid is not None
    return workshop.pid


# --- what a visit may do ----------------------------------------------------------------------------------------------
def test_a_visit_comes_back_as_figures_and_files_and_its_files_may_be_made_twice(workshop: Workshop) -> None:
    assert made(workshop, "first") == b"first 1 None"
    assert workshop.files(2, TODAY) == {"report.pdf": b"first 2 2026-11-25", "fitting.json": b"{}"}
    assert made(workshop, "second") == b"second 1 None"


@pytest.mark.parametrize("step", ["", "later "])
@pytest.mark.parametrize("word", ["hang", "stuck"])
def test_one_that_takes_too_long_is_ended_and_the_next_is_made(workshop: Workshop, word: str, step: str) -> None:
    workshop.limits = Limits(seconds=1.0)
    workshop.version()
    child, began = pid_of(workshop), time.monotonic()
    with pytest.raises(StoppedError, match=r"could not be made: it took longer than 1 seconds\. Drop fewer") as fault:
        made(workshop, step + word)
    assert time.monotonic() - began < 4
    assert fault.value.why == "it took longer than 1 seconds"
    assert gone(child)
    workshop.limits = Limits(seconds=30.0)
    assert made(workshop, "next") == b"next 1 None"


@pytest.mark.parametrize("step", ["", "later "])
def test_one_that_eats_memory_is_ended_and_the_next_is_made(workshop: Workshop, step: str) -> None:
    workshop.version()
    child = pid_of(workshop)
    with pytest.raises(StoppedError, match=r"it needed more than 200 MB of memory\. Drop fewer shots"):
        made(workshop, f"{step}eat")
    assert gone(child)
    assert made(workshop, "next") == b"next 1 None"


SMALL_PARENT = """
import datetime as dt
from pipeline import settings
from pipeline.workshop import StoppedError
from pipeline.work_messages import Job
from pipeline.workshop import Limits, Workshop
workshop = Workshop(Limits(seconds=20.0, megabytes=1000, visits=3))
for name in ("gobble", "die"):
    try:
        workshop.work_out(Job(name, "id", (), settings.load(), dt.date(2026, 11, 25), {}))
    except StoppedError as fault:
        print(fault)
workshop.close()
"""


@pytest.mark.skipif(not hasattr(os, "wait4"), reason="this system does not tell how much a process had")
def test_a_process_that_ended_with_much_memory_ran_out_of_it_and_one_with_little_broke_down(stand_in: Path) -> None:
    """Seen from a small parent: a child is charged with what its parent had, and that of a test run may be much."""
    done = subprocess.run(
        [sys.executable, "-c", SMALL_PARENT], cwd=ROOT, capture_output=True, encoding="utf-8", check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(stand_in), str(ROOT)])},
    )  # fmt: skip
    out_of_memory, broke_down = done.stdout.splitlines()
    assert "it needed more than 1000 MB of memory" in out_of_memory
    assert "what works on it broke down. Keep what was dropped" in broke_down


@pytest.mark.parametrize("word", ["die", "quit"])
@pytest.mark.parametrize("step", ["", "later "])
def test_one_that_breaks_down_is_not_tried_again_here(workshop: Workshop, word: str, step: str) -> None:
    with pytest.raises(StoppedError, match="what works on it broke down"):
        made(workshop, step + word)
    assert made(workshop, "next") == b"next 1 None"


def test_a_fault_is_said_in_its_words_and_its_trail_names_no_data(workshop: Workshop) -> None:
    child = workshop.version() and pid_of(workshop)
    with pytest.raises(FaultError, match=r"could not be made: LookupError: no such thing\. Keep what was") as fault:
        made(workshop, "fault")
    assert fault.value.trail.startswith("LookupError, from ")
    assert "no such thing" not in fault.value.trail
    with pytest.raises(ReportError, match="LookupError: no such thing"):
        draw(workshop, "fault")
    assert made(workshop, "next") == b"next 1 None"
    assert pid_of(workshop) == child


def test_files_are_those_of_the_visit_worked_out_last_and_of_no_other(workshop: Workshop) -> None:
    workshop.version()
    with pytest.raises(FaultError, match="no visit was worked out"):
        workshop.files(1, None)
    with pytest.raises(FaultError):
        workshop.work_out(job("fault"))
    with pytest.raises(FaultError, match="no visit was worked out"):
        workshop.files(1, None)


@pytest.mark.parametrize("name", ["liar", "odd"])
def test_an_answer_of_another_form_is_not_believed(workshop: Workshop, name: str) -> None:
    workshop.version()
    child = pid_of(workshop)
    with pytest.raises(FaultError, match="gave an answer nobody understands"):
        made(workshop, name)
    assert gone(child)
    assert made(workshop, "next") == b"next 1 None"


def test_files_too_large_are_refused(workshop: Workshop) -> None:
    workshop.limits = Limits()
    with pytest.raises(FaultError, match="its files would hold more than 100 MB"):
        made(workshop, "huge")


# --- what a page may do -----------------------------------------------------------------------------------------------
def test_a_page_is_drawn_between_two_steps_of_a_visit(workshop: Workshop) -> None:
    workshop.work_out(job("first"))
    assert draw(workshop, "page") == b"%PDF- page"
    assert workshop.files(1, None)["report.pdf"] == b"first 1 None"


def test_what_a_library_prints_does_not_get_into_the_answer(
    workshop: Workshop, capfd: pytest.CaptureFixture[str]
) -> None:
    assert draw(workshop, "noise") == b"%PDF- noise"
    assert draw(workshop, "next") == b"%PDF- next"
    assert capfd.readouterr() == ("", "")


def test_requests_to_end_are_for_the_parent(workshop: Workshop) -> None:
    assert draw(workshop, "deaf") == b"%PDF- deaf"


def test_it_unpacks_into_its_own_folder_which_goes_with_it(workshop: Workshop, scratch: Path) -> None:
    place = Path(draw(workshop, "unpack").decode())
    assert place.is_dir()
    assert place.is_relative_to(scratch)
    workshop.close()
    assert list(scratch.iterdir()) == []


def test_it_gets_no_open_file_of_ours(workshop: Workshop, tmp_path: Path) -> None:
    if not Path("/proc/self/fd").exists():
        pytest.skip("this system does not list open files")
    plain = draw(workshop, "files")
    workshop.close()
    with (tmp_path / "open").open("wb"):
        assert draw(workshop, "files") == plain


# --- what may happen to it --------------------------------------------------------------------------------------------
def test_killed_while_it_waits_it_is_started_again(workshop: Workshop) -> None:
    draw(workshop, "first")
    child = pid_of(workshop)
    os.kill(child, signal.SIGKILL)
    assert gone(child)
    assert made(workshop, "next") == b"next 1 None"
    assert pid_of(workshop) != child


def test_killed_while_it_works_that_is_said_and_the_next_is_made(workshop: Workshop) -> None:
    for step in ("", "later "):
        workshop.version()
        killer = threading.Timer(0.3, os.kill, (pid_of(workshop), signal.SIGKILL))
        killer.start()
        with pytest.raises(StoppedError, match="what works on it broke down"):
            made(workshop, f"{step}nap")
    assert made(workshop, "next") == b"next 1 None"


def test_killed_between_the_two_steps_the_visit_is_gone_with_it(workshop: Workshop) -> None:
    workshop.work_out(job("first"))
    os.kill(pid_of(workshop), signal.SIGKILL)
    assert gone(pid_of(workshop))
    with pytest.raises(StoppedError, match="what works on it broke down"):
        workshop.files(1, None)
    assert made(workshop, "next") == b"next 1 None"


def test_frozen_it_is_ended_in_time(workshop: Workshop) -> None:
    workshop.limits = Limits(seconds=2.0)
    draw(workshop, "first")
    child = pid_of(workshop)
    os.kill(child, signal.SIGSTOP)
    with pytest.raises(ReportError, match="longer than 2 seconds"):
        draw(workshop, "x" * 1_000_000)  # more than a pipe holds
    assert gone(child)
    assert draw(workshop, "next") == b"%PDF- next"


def test_it_is_renewed_after_some_visits(workshop: Workshop) -> None:
    children = []
    for _ in range(7):
        made(workshop, "next")
        children.append(pid_of(workshop))
    assert [len({*children[:3]}), len({*children[3:6]}), len({*children})] == [1, 1, 3]


def test_several_threads_each_get_their_own(workshop: Workshop) -> None:
    got: dict[str, bytes] = {}
    words = [f"page{n}" for n in range(8)]
    threads = [threading.Thread(target=lambda word: got.update({word: draw(workshop, word)}), args=(w,)) for w in words]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert got == {word: b"%PDF- " + word.encode() for word in words}


def test_no_process_can_be_started(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    for ask in (lambda: draw(workshop, "next"), workshop.version):
        with pytest.raises(ReportError, match=r"no process could be started \(No such file or directory\)"):
            ask()
    with pytest.raises(FileNotFoundError):
        workshop.work_out(job("next"))
    workshop.prepare()


# --- loading the libraries --------------------------------------------------------------------------------------------
def test_a_renderer_that_is_not_there_is_said_and_found_once_it_is_installed(
    stand_in: Path, workshop: Workshop
) -> None:
    fake(stand_in, "raise OSError('cannot load library')")
    for _ in range(2):
        with pytest.raises(MissingPartError, match=r"needs the system library Pango.*said: cannot load library"):
            draw(workshop, "next")
    fake(stand_in, STAND_IN + "\n")
    assert workshop.version() == "0"
    assert draw(workshop, "next") == b"%PDF- next"


def test_a_renderer_that_is_there_and_broken_is_said(stand_in: Path, workshop: Workshop) -> None:
    fake(stand_in, "raise AttributeError('of another version')")
    with pytest.raises(
        MissingPartError, match=r"the libraries cannot be loaded \(AttributeError\('of another version'\)\)"
    ):
        workshop.version()


def test_one_that_hangs_while_it_loads_is_ended(stand_in: Path, workshop: Workshop) -> None:
    fake(stand_in, "import time; time.sleep(600)")
    workshop.limits = Limits(seconds=1.0)
    began = time.monotonic()
    with pytest.raises(ReportError, match="longer than 1 seconds"):
        workshop.version()
    workshop.prepare()
    workshop.close()  # while it still loads
    assert time.monotonic() - began < 4


def test_closing_twice_or_before_the_start_does_nothing(workshop: Workshop) -> None:
    workshop.close()
    assert workshop.pid is None
    draw(workshop, "next")
    child = pid_of(workshop)
    workshop.close()
    workshop.close()
    assert gone(child, 0.5)


# --- the parent ends --------------------------------------------------------------------------------------------------
PARENT = """
import sys
from pipeline.workshop import SHARED
SHARED.version()
print(SHARED.pid, flush=True)
for page in sys.argv[1:]:
    print(SHARED.draw(page, "id").decode(), flush=True)
"""


@pytest.fixture
def parent(stand_in: Path, scratch: Path) -> Callable[..., tuple["subprocess.Popen[str]", int]]:
    """Start a Python that draws pages, with no guard against being imported; gives it and its child's number."""

    def start(*pages: str) -> tuple["subprocess.Popen[str]", int]:
        script = stand_in / "unguarded.py"
        script.write_text(PARENT, encoding="utf-8")
        path = os.pathsep.join([str(stand_in), str(ROOT)])
        made = subprocess.Popen(
            [sys.executable, script, *pages], stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
            env={**os.environ, "PYTHONPATH": path, "TMPDIR": str(scratch)}, start_new_session=True,
        )  # fmt: skip
        assert made.stdout
        return made, int(made.stdout.readline())

    return start


Parent = Callable[..., tuple["subprocess.Popen[str]", int]]


def test_a_program_that_ends_leaves_nothing_behind(parent: Parent, scratch: Path) -> None:
    made, child = parent("first", "second")
    with killed_at_the_end(made):
        assert made.wait(timeout=20) == 0
        assert made.stdout  # communicate() would lose what came together with the child's number
        assert made.stderr
        assert (made.stdout.read(), made.stderr.read()) == ("%PDF- first\n%PDF- second\n", "")
    assert gone(child, 0.5)
    assert list(scratch.iterdir()) == []


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL, signal.SIGINT, signal.SIGHUP])
@pytest.mark.parametrize("word", ["hang", "first"])
def test_a_program_that_is_ended_leaves_no_orphan(
    parent: Parent, scratch: Path, word: str, number: signal.Signals
) -> None:
    made, child = parent(word, "hang")
    time.sleep(0.3)
    began = time.monotonic()
    os.killpg(made.pid, number)  # as a console or a service manager does
    _, err = made.communicate(timeout=20)
    assert made.returncode == -number or (number == signal.SIGINT and "KeyboardInterrupt" in err)
    assert gone(child)
    assert time.monotonic() - began < 3
    assert list(scratch.iterdir()) == []


@pytest.mark.slow
def test_an_orphan_that_is_stuck_is_ended_by_the_system(stand_in: Path, scratch: Path) -> None:
    script = "from pipeline.workshop import SHARED, Limits; SHARED.limits = Limits(1.0); SHARED.version(); "
    script += "print(SHARED.pid, flush=True); SHARED.draw('stuck', 'id')"
    path = os.pathsep.join([str(stand_in), str(ROOT)])
    started = subprocess.Popen(
        [sys.executable, "-c", script],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path, "TMPDIR": str(scratch)},
    )
    with killed_at_the_end(started) as made:
        assert made.stdout
        child = int(made.stdout.readline())
        time.sleep(0.3)
        made.kill()
    assert not gone(child, 1.0)
    assert gone(child, 15.0)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="this system does not list a process's children")
def test_a_watcher_that_is_asked_to_end_while_it_draws_finishes_that_report(stand_in: Path, tmp_path: Path) -> None:
    drawing = tmp_path / "drawing"
    source = STAND_IN.replace(
        "def say(self): pass", f"def say(self): open({str(drawing)!r}, 'w').close(); time.sleep(1)"
    )
    fake(stand_in, source)
    place = studio.create(tmp_path / "studio")
    (place.root / "studio.toml").write_text("settle_seconds = 0.2\nscan_seconds = 0.1\n", encoding="utf-8")
    path = os.pathsep.join([str(stand_in), str(ROOT)])
    started = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "watch", place.root], stdout=subprocess.PIPE, encoding="utf-8",
        stderr=subprocess.STDOUT, env={**os.environ, "PYTHONPATH": path}, start_new_session=True,
    )  # fmt: skip
    with killed_at_the_end(started) as watch:
        assert watch.stdout
        assert watch.stdout.readline().startswith("watching ")
        [child] = map(int, Path(f"/proc/{watch.pid}/task/{watch.pid}/children").read_text(encoding="utf-8").split())
        shutil.copy(ROOT / "inbox_example" / "customer 0311 driver.csv", place.inbox)
        end = time.monotonic() + 30
        while not drawing.exists() and time.monotonic() < end:
            time.sleep(0.02)
        for number in (watch.pid, child):  # a service manager asks every process of a service
            os.kill(number, signal.SIGTERM)
        said, _ = watch.communicate(timeout=60)
    assert drawing.exists(), said
    assert watch.returncode == 0, said
    assert gone(child)
    assert list(place.outbox.glob("*/report.pdf"))
    assert list(place.set_back.iterdir()) == []


# --- in the intake ----------------------------------------------------------------------------------------------------
def intake(bench: "Bench", workshop: Workshop) -> "Inbox":
    """Open the intake with a real child process."""
    inbox = bench.open()
    inbox.workshop = workshop
    return inbox


@pytest.mark.parametrize(
    ("word", "why"),
    [
        ("hang", "it took longer than 1 seconds"),
        ("eat", "it needed more than 200 MB of memory"),
        ("die", "what works on it broke down"),
        ("later hang", "it took longer than 1 seconds"),
        ("later die", "what works on it broke down"),
    ],
)
def test_a_visit_that_ends_its_process_is_tried_last_and_set_back_after_three(
    bench: "Bench", workshop: Workshop, word: str, why: str
) -> None:
    workshop.limits = Limits(seconds=1.0 if "hang" in word else 20.0, megabytes=200)
    workshop.version()
    inbox = intake(bench, workshop)
    for name in ("a", word, "z"):
        bench.drop(f"{name}.csv", f"shots of {name}")
    bench.go(inbox)
    assert sorted(zip([e.name for e in bench.events], bench.kinds(), strict=True)) == sorted(
        [("a", "reported"), (word, "waiting"), ("z", "reported")]
    )
    bench.events.clear()
    bench.drop("a later one.csv", "shots of a later one")
    bench.go(inbox)
    assert [(e.name, e.kind) for e in bench.events] == [("a later one", "reported"), (word, "waiting")]
    inbox.ledger.close()
    inbox = intake(bench, workshop)  # the count outlives the program
    inbox.work_off()
    inbox.ledger.close()
    last = bench.events[-1]
    assert (last.name, last.kind, last.exit_code) == (word, "set_back", ReportError.exit_code)
    note = (bench.studio.set_back / f"{word}.csv.txt").read_text(encoding="utf-8")
    assert f"It was tried 3 times, and the last time {why}." in note
    assert (bench.studio.set_back / f"{word}.csv").read_text(encoding="utf-8") == f"shots of {word}"


def test_one_that_breaks_down_once_gets_its_report_at_the_next_try(
    bench: "Bench", workshop: Workshop, tmp_path: Path
) -> None:
    inbox = intake(bench, workshop)
    bench.drop("visit.csv", "shots")
    workshop.work_out = lambda one, real=workshop.work_out: real(  # type: ignore[method-assign, misc]
        replace(one, name=f"die_once {tmp_path / 'died'}")
    )
    bench.go(inbox)
    inbox.work_off()
    inbox.ledger.close()
    assert bench.kinds() == ["waiting", "reported"]
    assert bench.set_back() == []


def test_a_fault_of_ours_sets_the_visit_back_and_its_trail_goes_to_the_log(
    bench: "Bench", workshop: Workshop, caplog: pytest.LogCaptureFixture
) -> None:
    inbox = intake(bench, workshop)
    bench.drop("fault.csv", "shots")
    bench.go(inbox)
    inbox.ledger.close()
    assert [(e.kind, e.exit_code) for e in bench.events] == [("set_back", 70)]
    assert "met a fault of ours: LookupError, from " in caplog.text
    assert "no such thing" not in caplog.text


def test_no_process_to_be_had_blames_no_visit(
    bench: "Bench", workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox = intake(bench, workshop)
    bench.drop("visit.csv", "shots")

    def none_left(*_words: object, **_named: object) -> None:
        raise OSError(errno.EAGAIN, "Resource temporarily unavailable")

    with monkeypatch.context() as patched:
        patched.setattr(subprocess, "Popen", none_left)
        bench.go(inbox)
    assert bench.kinds() == ["trouble"]
    bench.go(inbox, 60.0)
    inbox.ledger.close()
    assert bench.kinds() == ["trouble", "reported"]


def test_the_intake_itself_loads_nothing_that_reads_computes_or_draws() -> None:
    script = "import sys, pipeline.watcher; print([name for name in sys.argv[1:] if name in sys.modules])"
    heavy = ["polars", "numpy", "scipy", "pandera", "openpyxl", "weasyprint", "jinja2", "pipeline.reading"]
    said = subprocess.run(
        [sys.executable, "-c", script, *heavy], capture_output=True, encoding="utf-8", check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert said.stdout == "[]\n"


# --- the words between the two ----------------------------------------------------------------------------------------
def test_a_job_arrives_as_it_was_sent() -> None:
    logo = Logo("png", b"\x89PNG\0\xff", 10.0, 5.0)
    given = Given("left", {"length": "m"}, {"Carry": "carry_m"}, {}, {}, "comma", None)
    sent = Job("Änn\udcff", "id", (("a.csv", "/x/\udcff.csv"),), settings.load("name = 'Ü'"), TODAY, {"x": given}, logo)
    assert work_messages.unpack_job(work_messages.pack_job(sent)) == sent
    assert work_messages.unpack_job(work_messages.pack_job(job("a"))) == job("a")
    learned = History((KindHistory("iron", 20, BetweenClubs(4.0, 33.0, "history"), TypicalSpread(6.5, 12.0)),))
    assert work_messages.unpack_job(work_messages.pack_job(replace(sent, history=learned))).history == learned


def test_a_refusal_arrives_as_it_was_sent() -> None:
    assert work_messages.unpack_outcome(work_messages.pack_outcome(NO_UNIT)) == NO_UNIT
    asked = replace(NO_UNIT, answer='--unit "Ball=…"')
    assert work_messages.unpack_outcome(work_messages.pack_outcome(asked)) == asked


REFUSAL = b'{"refusal": {"outcome": "%s", "exit_code": %s, "what": "w", "where": "x", "to_do": "", "answer": ""}}'


def test_the_form_of_an_outcome_is_what_makes_it_one() -> None:
    assert work_messages.unpack_outcome(REFUSAL % (b"held", b"3")) == Refusal("held", 3, "w", "x", "")


@pytest.mark.parametrize(
    "content",
    [
        b"", b"[]", b"7", b"\xff", b"{}", b"[" * 200_000, b'{"refusal": []}', b'{"worked": 1}',
        REFUSAL % (b"reported", b"3"), REFUSAL % (b"held", b'"3"'), (REFUSAL % (b"held", b"3")).replace(b'"w"', b"7"),
        REFUSAL.replace(b'"w"', b'"' + b"w" * 20_001 + b'"') % (b"held", b"3"),
        b'{"worked": {"date": "yesterday", "shots": [], "message": ""}}',
        b'{"worked": {"date": "2026-11-25", "shots": "ab", "message": ""}}',
        b'{"worked": {"date": "2026-11-25", "shots": [1], "message": ""}}',
        b'{"worked": {"date": "2026-11-25", "shots": [], "message": null}}',
    ],
    ids=range(16),
)  # fmt: skip
def test_what_is_no_outcome_is_refused(content: bytes) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - of several kinds, all of them refusals
        work_messages.unpack_outcome(content)


def packed(*rows: tuple[object, object], content: bytes = b"") -> bytes:
    import json  # noqa: PLC0415 - used here only

    head = json.dumps(rows).encode()
    return struct.pack(">I", len(head)) + head + content


def test_files_arrive_as_they_were_sent() -> None:
    files = {"report.pdf": b"%PDF\0", "letter.eml": b"", "shots.csv": b"\xff" * 70_000, "fitting.json": b"{}"}
    assert work_messages.unpack_files(work_messages.pack_files(files)) == files
    assert work_messages.unpack_files(packed(("report.pdf", 2), content=b"ab")) == {"report.pdf": b"ab"}


@pytest.mark.parametrize(
    "content",
    [
        b"", b"\0", b"\xff\xff\xff\xff", packed(("../report.pdf", 0)), packed(("/etc/passwd", 0)),
        packed((["report.pdf"], 0)),
        packed(("report.pdf", 3), content=b"ab"), packed(("report.pdf", 1), content=b"ab"),
        packed(("report.pdf", -1), content=b"ab"), packed(("report.pdf", 1.0), content=b"a"),
        packed(("report.pdf", 1), ("report.pdf", 1), content=b"ab"), struct.pack(">I", 2) + b"77",
        struct.pack(">I", 3) + b"[7]",
    ],
    ids=range(13),
)  # fmt: skip
def test_what_are_no_files_of_a_report_is_refused(content: bytes) -> None:
    with pytest.raises((ValueError, TypeError)):
        work_messages.unpack_files(content)


@pytest.mark.parametrize(
    "content",
    [b"", b"null", b"7", b'["ab"]', b"[[1]]", b"[[1, 2, 3]]", b"[[0, 5]]", b"[[4001, 5]]", b"[[5, 4001]]",
     b"[[true, 5]]", b"[[5.0, 5]]", b'[["5", 5]]', b"[[5, 5]" + b", [5, 5]" * 500 + b"]"],
    ids=range(13),
)  # fmt: skip
def test_what_are_no_sizes_of_pages_is_refused(content: bytes) -> None:
    with pytest.raises((ValueError, TypeError)):
        work_messages.unpack_sizes(content)


def test_sizes_and_pictures_of_pages_arrive_as_they_were_sent() -> None:
    assert work_messages.unpack_sizes(b"[]") == ()
    assert work_messages.unpack_sizes(b"[[4000, 1], [5, 6]]") == ((4000, 1), (5, 6))
    assert work_messages.unpack_sheet(work_messages.pack_sheet(b"%PDF-", 4_000_000_000)) == (b"%PDF-", 4_000_000_000)
    assert work_messages.unpack_picture(b"\x89PNG\r\n\x1a\nrest") == b"\x89PNG\r\n\x1a\nrest"
    for other in (b"", b"<svg/>", b"GIF89a"):
        with pytest.raises(ValueError, match="no picture of a page"):
            work_messages.unpack_picture(other)


def test_a_message_that_would_be_too_large_is_not_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    for size, kept in ((100_000_001, None), (2, (b"done.", b"ab"))):
        path.write_bytes(struct.pack(">5sQ", b"done.", size) + b"ab")
        with path.open("rb") as stream:
            assert work_messages.receive(stream) == kept


# --- with the real renderer -------------------------------------------------------------------------------------------
HUGE = "<!DOCTYPE html><html lang='en'><title>t</title><body><table>" + "<tr><td>cell" * 60_000


@pytest.mark.slow
@pytest.mark.parametrize("limits", [Limits(seconds=6.0), Limits(megabytes=400)], ids=["time", "memory"])
def test_a_monstrous_page_is_refused_and_the_next_is_drawn(limits: Limits) -> None:
    workshop = Workshop(limits)
    with pytest.raises(ReportError, match="longer than 6 seconds" if limits.seconds == 6.0 else "more than 400 MB"):
        draw(workshop, HUGE)
    assert draw(workshop, "<!DOCTYPE html><html lang='en'><title>t</title><body><p>text</p>").startswith(b"%PDF-1.7")
    workshop.close()
