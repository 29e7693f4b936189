"""The child process that draws: it may hang, eat memory, die or be killed, and the next report is made all the same.

A stand-in for the renderer does what the page says, at the place where the real one would be imported.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import pdf, studio
from pipeline.errors import MissingPartError, ReportError
from pipeline.pdf_process import Limits, Renderer
from pipeline.records import Fitting

if TYPE_CHECKING:
    from tests.conftest import Bench

ROOT = Path(__file__).resolve().parent.parent.parent
STAND_IN = """
import os, signal, sys, time
__version__ = "0"
class urls:
    URLFetcher = object
def Attachment(**_): pass
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
    def die(self): os.abort()
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
"""


def gone(pid: int, seconds: float = 5.0) -> bool:
    """Wait until a process has ended; one that nobody has asked about since counts as ended."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            os.kill(pid, 0)
            if Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] == "Z":
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
def renderer(stand_in: Path, scratch: Path) -> Iterator[Renderer]:
    _ = stand_in
    made = Renderer(Limits(seconds=5.0, megabytes=200, reports=3))
    yield made
    made.close()
    assert list(scratch.iterdir()) == []


def draw(renderer: Renderer, html: str) -> bytes:
    return pdf.make(html, "id", renderer=renderer)


def pid_of(renderer: Renderer) -> int:
    assert renderer.pid is not None
    return renderer.pid


# --- what a page may do -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("word", ["hang", "stuck"])
def test_one_that_takes_too_long_is_ended_and_the_next_is_drawn(renderer: Renderer, word: str) -> None:
    renderer.version()
    renderer.limits = Limits(seconds=1.0)
    renderer.close()
    renderer.prepare()
    child, began = pid_of(renderer), time.monotonic()
    with pytest.raises(ReportError, match=r"The PDF could not be made: it took longer than 1 seconds\. Drop fewer"):
        draw(renderer, word)
    assert time.monotonic() - began < 4
    assert gone(child)
    renderer.limits = Limits(seconds=30.0)
    assert draw(renderer, "next") == b"%PDF- next"


def test_one_that_eats_memory_is_ended_and_the_next_is_drawn(renderer: Renderer) -> None:
    draw(renderer, "first")
    child = pid_of(renderer)
    with pytest.raises(ReportError, match=r"it needs more than 200 MB of memory\. Drop fewer shots"):
        draw(renderer, "eat")
    assert gone(child)
    assert draw(renderer, "next") == b"%PDF- next"


def test_one_that_breaks_down_is_tried_once_more(renderer: Renderer, tmp_path: Path) -> None:
    assert draw(renderer, f"die_once {tmp_path / 'died'}") == b"%PDF- die_once"
    assert (tmp_path / "died").exists()
    with pytest.raises(ReportError, match="what draws it broke down, twice"):
        draw(renderer, "die")
    assert draw(renderer, "next") == b"%PDF- next"


def test_a_fault_is_said_in_its_words_and_the_next_is_drawn(renderer: Renderer) -> None:
    with pytest.raises(ReportError, match=r"could not be made: LookupError: no such thing\. Keep what was dropped"):
        draw(renderer, "fault")
    assert draw(renderer, "next") == b"%PDF- next"


def test_what_a_library_prints_does_not_get_into_the_answer(
    renderer: Renderer, capfd: pytest.CaptureFixture[str]
) -> None:
    assert draw(renderer, "noise") == b"%PDF- noise"
    assert draw(renderer, "next") == b"%PDF- next"
    assert capfd.readouterr() == ("", "")


def test_requests_to_end_are_for_the_parent(renderer: Renderer) -> None:
    assert draw(renderer, "deaf") == b"%PDF- deaf"


def test_it_unpacks_into_its_own_folder_which_goes_with_it(renderer: Renderer, scratch: Path) -> None:
    place = Path(draw(renderer, "unpack").decode())
    assert place.is_dir()
    assert place.is_relative_to(scratch)
    renderer.close()
    assert list(scratch.iterdir()) == []


def test_it_gets_no_open_file_of_ours(renderer: Renderer, tmp_path: Path) -> None:
    if not Path("/proc/self/fd").exists():
        pytest.skip("this system does not list open files")
    plain = draw(renderer, "files")
    renderer.close()
    with (tmp_path / "open").open("wb"):
        assert draw(renderer, "files") == plain


# --- what may happen to it --------------------------------------------------------------------------------------------
def test_killed_while_it_waits_it_is_started_again(renderer: Renderer) -> None:
    draw(renderer, "first")
    child = pid_of(renderer)
    os.kill(child, signal.SIGKILL)
    assert draw(renderer, "next") == b"%PDF- next"
    assert pid_of(renderer) != child


def test_killed_while_it_draws_the_report_is_made_by_another(renderer: Renderer) -> None:
    draw(renderer, "first")
    child = pid_of(renderer)
    killer = threading.Timer(0.3, os.kill, (child, signal.SIGKILL))
    killer.start()
    assert draw(renderer, "nap") == b"%PDF- nap"
    assert pid_of(renderer) != child


def test_frozen_it_is_ended_in_time(renderer: Renderer) -> None:
    renderer.limits = Limits(seconds=2.0)
    draw(renderer, "first")
    child = pid_of(renderer)
    os.kill(child, signal.SIGSTOP)
    with pytest.raises(ReportError, match="longer than 2 seconds"):
        draw(renderer, "x" * 1_000_000)  # more than a pipe holds
    assert gone(child)
    assert draw(renderer, "next") == b"%PDF- next"


def test_it_is_renewed_after_some_reports(renderer: Renderer) -> None:
    children = []
    for _ in range(7):
        renderer.prepare()
        children.append(pid_of(renderer))
        draw(renderer, "next")
    assert [len({*children[:3]}), len({*children[3:6]}), len({*children})] == [1, 1, 3]
    assert renderer.pid == children[-1]


def test_several_threads_each_get_their_own(renderer: Renderer) -> None:
    got: dict[str, bytes] = {}
    words = [f"page{n}" for n in range(8)]
    threads = [threading.Thread(target=lambda word: got.update({word: draw(renderer, word)}), args=(w,)) for w in words]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert got == {word: b"%PDF- " + word.encode() for word in words}


def test_no_process_can_be_started(renderer: Renderer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/no/such/python")
    with pytest.raises(ReportError, match=r"no process could be started \(No such file or directory\)"):
        draw(renderer, "next")


# --- loading the renderer ---------------------------------------------------------------------------------------------
def test_a_renderer_that_is_not_there_is_said_and_found_once_it_is_installed(
    stand_in: Path, renderer: Renderer
) -> None:
    fake(stand_in, "raise OSError('cannot load library')")
    for _ in range(2):
        with pytest.raises(MissingPartError, match=r"needs the system library Pango.*said: cannot load library"):
            draw(renderer, "next")
    fake(stand_in, STAND_IN + "\n")
    assert renderer.version() == "0"
    assert draw(renderer, "next") == b"%PDF- next"


def test_a_renderer_that_is_there_and_broken_is_said(stand_in: Path, renderer: Renderer) -> None:
    fake(stand_in, "raise AttributeError('of another version')")
    with pytest.raises(
        MissingPartError, match=r"weasyprint cannot be loaded \(AttributeError\('of another version'\)\)"
    ):
        renderer.version()


def test_one_that_hangs_while_it_loads_is_ended(stand_in: Path, renderer: Renderer) -> None:
    fake(stand_in, "import time; time.sleep(600)")
    renderer.limits = Limits(seconds=1.0)
    began = time.monotonic()
    with pytest.raises(ReportError, match="longer than 1 seconds"):
        renderer.version()
    renderer.prepare()
    renderer.close()  # while it still loads
    assert time.monotonic() - began < 4


def test_closing_twice_or_before_the_start_does_nothing(renderer: Renderer) -> None:
    renderer.close()
    assert renderer.pid is None
    draw(renderer, "next")
    child = pid_of(renderer)
    renderer.close()
    renderer.close()
    assert gone(child, 0.5)


# --- the parent ends --------------------------------------------------------------------------------------------------
PARENT = """
import sys
from pipeline import pdf
pdf.load()
print(pdf._RENDERER.pid, flush=True)
for page in sys.argv[1:]:
    print(pdf.make(page, "id").decode(), flush=True)
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
    out, err = made.communicate(timeout=20)
    assert (out, err, made.returncode) == ("%PDF- first\n%PDF- second\n", "", 0)
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
    script = "from pipeline import pdf; from pipeline.pdf_process import Limits; pdf._RENDERER.limits = Limits(1.0); "
    script += "pdf.load(); print(pdf._RENDERER.pid, flush=True); pdf.make('stuck', 'id')"
    path = os.pathsep.join([str(stand_in), str(ROOT)])
    with subprocess.Popen(
        [sys.executable, "-c", script],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path, "TMPDIR": str(scratch)},
    ) as made:
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
    with subprocess.Popen(
        [sys.executable, "-m", "pipeline", "watch", place.root], stdout=subprocess.PIPE, encoding="utf-8",
        stderr=subprocess.STDOUT, env={**os.environ, "PYTHONPATH": path}, start_new_session=True,
    ) as watch:  # fmt: skip
        assert watch.stdout
        assert watch.stdout.readline().startswith("watching ")
        [child] = map(int, Path(f"/proc/{watch.pid}/task/{watch.pid}/children").read_text(encoding="utf-8").split())
        shutil.copy(ROOT / "inbox_example" / "customer 0311 driver.csv", place.inbox)
        end = time.monotonic() + 30
        while not drawing.exists() and time.monotonic() < end:
            time.sleep(0.02)
        for number in (watch.pid, child):  # a service manager asks every process of a service
            os.kill(number, signal.SIGTERM)
        said = watch.stdout.read()
    assert drawing.exists(), said
    assert watch.returncode == 0, said
    assert gone(child)
    assert list(place.outbox.glob("*/report.pdf"))
    assert list(place.set_back.iterdir()) == []


# --- in the intake ----------------------------------------------------------------------------------------------------
def test_a_visit_whose_report_hangs_is_set_back_and_the_next_is_reported(
    bench: "Bench", renderer: Renderer, monkeypatch: pytest.MonkeyPatch
) -> None:
    renderer.version()
    renderer.close()
    renderer.limits = Limits(seconds=1.5)

    def files(fitting: Fitting, _settings: object, _logo: object) -> dict[str, bytes]:
        return {"report.pdf": draw(renderer, fitting.name), "fitting.json": b"{}"}

    monkeypatch.setattr("pipeline.inbox.outputs.files", files)
    inbox = bench.open()
    for name in ("first", "hang", "last"):
        bench.drop(f"{name}.csv", f"shots of {name}")
    bench.go(inbox)
    inbox.ledger.close()
    assert sorted(zip([e.name for e in bench.events], bench.kinds(), strict=True)) == [
        ("first", "reported"), ("hang", "set_back"), ("last", "reported"),
    ]  # fmt: skip
    assert next(e for e in bench.events if e.name == "hang").exit_code == ReportError.exit_code
    note = (bench.studio.set_back / "hang.csv.txt").read_text(encoding="utf-8")
    assert "The PDF could not be made: it took longer than 2 seconds." in note


# --- with the real renderer -------------------------------------------------------------------------------------------
HUGE = "<!DOCTYPE html><html lang='en'><title>t</title><body><table>" + "<tr><td>cell" * 60_000


@pytest.mark.slow
@pytest.mark.parametrize("limits", [Limits(seconds=6.0), Limits(megabytes=200)], ids=["time", "memory"])
def test_a_monstrous_page_is_refused_and_the_next_is_drawn(limits: Limits) -> None:
    """Out of memory, Python says so; the drawing libraries below it may end the process instead."""
    renderer = Renderer(limits)
    out_of_memory = "more than 200 MB|broke down, twice"
    with pytest.raises(ReportError, match="longer than 6 seconds" if limits.seconds == 6.0 else out_of_memory):
        draw(renderer, HUGE)
    assert draw(renderer, "<!DOCTYPE html><html lang='en'><title>t</title><body><p>text</p>").startswith(b"%PDF-1.7")
    renderer.close()
