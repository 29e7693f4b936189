"""The child process as its parent sees it: started when needed, timed, ended when it fails, renewed now and then.

Reading, analysis and drawing are done there, never here: a file that hangs or eats memory ends that process and no
other. The child is another Python over pipes, not a fork or a spawned copy of this program: nothing of ours runs in it
twice, whoever calls us from whatever script.
"""

import atexit
import datetime as dt
import json
import os
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TypeVar, cast

from pipeline.errors import MissingPartError, ReportError, trail
from pipeline.questions import Question
from pipeline.records import Refusal
from pipeline.unknown_columns import Layout
from pipeline.work_messages import (
    LONGEST_BATCH_S,
    MOST_PAGES,
    Archived,
    Batch,
    Job,
    Worked,
    pack_batch,
    pack_job,
    pack_sheet,
    receive,
    send,
    unpack_archived,
    unpack_files,
    unpack_layouts,
    unpack_lessons,
    unpack_outcome,
    unpack_picture,
    unpack_question,
    unpack_rows,
    unpack_sizes,
)

_START = "import sys; sys.path[:] = sys.argv[4:]; from pipeline.worker import serve; "
_START += "serve(sys.argv[1], float(sys.argv[2]), int(sys.argv[3]))"
_TELL = "tell whoever looks after this program."
_TOO_MUCH = f"Drop fewer shots at once if this is far more than one fitting; else {_TELL}"
_BROKE_DOWN = ("what works on it broke down", f"Keep what was dropped, and {_TELL}")
_THREADS = ("POLARS_MAX_THREADS", "OPENBLAS_NUM_THREADS")  # each sets memory aside; a visit is small
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Limits:
    """How long each of the two steps of a visit may take, how much memory the child may have, when it is renewed."""

    seconds: float = 60.0
    megabytes: int = 1500
    visits: int = 100
    seconds_more: float = 0.25  # for each visit of a batch that is archived together


class StoppedError(ReportError):
    """What was asked ended the child process, or had to be ended with it; why says how, to_do what staff can do."""

    def __init__(self, why: str, to_do: str = _TOO_MUCH) -> None:
        super().__init__(f"The report could not be made: {why}. {to_do}")
        self.why, self.to_do = why, to_do


class FaultError(ReportError):
    """The child met a fault of ours; trail says where, and nothing of what a file holds."""

    def __init__(self, said: str, trail: str) -> None:
        super().__init__(f"The report could not be made: {said}. Keep what was dropped, and {_TELL}")
        self.trail = trail


@contextmanager
def _said_plainly() -> Iterator[None]:
    """Say for a command that no process could be started; the intake waits it out, as it does with a full disk."""
    try:
        yield
    except OSError as fault:
        msg = f"The report could not be made: no process could be started ({fault.strerror}). Try it again."
        raise ReportError(msg) from fault


class _Child:
    """One child process: its pipes, and a folder for what it unpacks."""

    def __init__(self, limits: Limits) -> None:
        self.visits = 0
        self.version = ""
        self.busy = True  # it is loading the libraries
        self._late = False
        self._seconds = limits.seconds
        self._first_peak = 0
        self._limits = limits
        self._scratch = tempfile.mkdtemp(prefix="baywright-")
        words = [self._scratch, str(limits.seconds), str(limits.megabytes), *sys.path]
        try:
            self.process = subprocess.Popen(  # noqa: S603 - our own interpreter and our own words
                [sys.executable, "-I", "-c", _START, *words],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                env={**dict.fromkeys(_THREADS, str(min(4, os.cpu_count() or 1))), **os.environ},
                start_new_session=True,  # Ctrl-C in the console is for the parent
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )  # fmt: skip
        except OSError:
            shutil.rmtree(self._scratch, ignore_errors=True)
            raise
        self._jobs = cast("BinaryIO", self.process.stdin)
        self._answers = cast("BinaryIO", self.process.stdout)

    @contextmanager
    def timed(self, seconds: float) -> Iterator[None]:
        """Kill the child when what is done here takes too long: every wait for it then ends."""
        self._seconds = seconds
        timer = threading.Timer(seconds, self._too_late)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()
            timer.join()

    def _too_late(self) -> None:
        self._late = True
        self.process.kill()

    def _answer(self) -> tuple[bytes, bytes]:
        message = receive(self._answers)
        if message is None or message[0] == b"large":
            raise StoppedError(*self._why(out_of_memory=message is not None))
        self.busy = False
        return message

    def _why(self, *, out_of_memory: bool) -> tuple[str, ...]:
        """Say why the child is gone; when libraries or the system ended it for want of memory, it had had much.

        A process is charged with what its parent had as it was made, so it tells at the start what that was.
        """
        peak = 0
        if self.process.returncode is None and hasattr(os, "wait4"):  # Windows cannot tell
            with suppress(OSError):
                os.kill(
                    self.process.pid, signal.SIGKILL
                )  # the library's way would ask first how it ended, and lose that
                _, status, usage = os.wait4(self.process.pid, 0)
                self.process.returncode = os.waitstatus_to_exitcode(status)
                peak = usage.ru_maxrss
        self.process.kill()
        if self._late:
            return (f"it took longer than {self._seconds:.0f} seconds",)
        bytes_each = 1 if sys.platform == "darwin" else 1024
        if out_of_memory or (peak > self._first_peak and peak * bytes_each > self._limits.megabytes * 500_000):
            return (f"it needed more than {self._limits.megabytes} MB of memory",)
        return _BROKE_DOWN

    def get_ready(self) -> None:
        """Wait until it has loaded the libraries; raises MissingPartError when one is not installed."""
        if not self.version:
            kind, content = self._answer()
            if kind != b"ready":
                raise MissingPartError(content.decode(errors="replace"))
            said = json.loads(content)
            self.version, self._first_peak = said["version"], said["peak"]

    def ask(self, kind: bytes, content: bytes) -> bytes:
        """Have one thing done."""
        self.get_ready()
        self.busy = True
        with suppress(OSError):  # it has ended: that is heard next
            send(self._jobs, kind, content)
        answered, content = self._answer()
        if answered != b"done.":
            said = json.loads(content)
            raise FaultError(said["said"], said["trail"])
        return content

    def end(self) -> None:
        """End it, kindly when it waits for a job, and clear away after it."""
        if self.busy:
            self.process.kill()
        with suppress(OSError):
            self._jobs.close()
        try:
            self.process.wait(timeout=2)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self._answers.close()
        shutil.rmtree(self._scratch, ignore_errors=True)


class Workshop:
    """Works visits out in a child process, one at a time; may be used from several threads."""

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self._child: _Child | None = None
        self._turn = threading.RLock()

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Keep other threads out, from working a visit out to filing it away."""
        with self._turn:
            yield

    @property
    def pid(self) -> int | None:
        """Number of the child process, if there is one."""
        return self._child.process.pid if self._child else None

    def prepare(self) -> None:
        """Start the child and do not wait for it: it loads its libraries while we do something else."""
        with suppress(OSError):  # who needs it next hears of that
            self._ready_child()

    def _ready_child(self) -> _Child:
        with self._turn:
            if self._child and self._child.process.poll() is not None:  # somebody ended it while it waited
                self.close()
            self._child = self._child or _Child(self.limits)
            return self._child

    def _ask(self, question: Callable[[_Child], _T], seconds: float = 0.0) -> _T:
        with self._turn:
            child = self._ready_child()
            try:
                with child.timed(seconds or self.limits.seconds):
                    return question(child)
            except FaultError:
                raise
            except (ValueError, TypeError, LookupError, struct.error) as fault:
                self.close()
                said = "what works on it gave an answer nobody understands"
                raise FaultError(said, trail(fault)) from fault
            except BaseException:  # and Ctrl-C: what it would answer next is for nobody
                self.close()
                raise

    def version(self) -> str:
        """Give the renderer's version once all is loaded; raises MissingPartError when something is not installed."""
        with _said_plainly():
            self._ask(_Child.get_ready)
            return self._ready_child().version

    def work_out(self, job: Job) -> Worked | Refusal:
        """Have a visit read and worked out.

        Raises StoppedError when that takes too long or too much memory or breaks down, FaultError for a fault of ours,
        and OSError when no process can be started.
        """
        with self._turn:
            if self._child and self._child.visits >= self.limits.visits:  # it grows a little with each
                self.close()
            outcome = self._ask(lambda child: unpack_outcome(child.ask(b"visit", pack_job(job))))
            self._ready_child().visits += 1
            return outcome

    def question(self, job: Job) -> Question | None:
        """Have the question looked for that a held visit waits with; raises as work_out."""
        return self._ask(lambda child: unpack_question(child.ask(b"asked", pack_job(job))))

    def left_aside(self, job: Job) -> tuple[Layout, ...]:
        """Have the columns of a visit's files looked for that nobody knows; raises as work_out."""
        return self._ask(lambda child: unpack_layouts(child.ask(b"aside", pack_job(job))))

    def files(self, version: int, day: dt.date | None) -> dict[str, bytes]:
        """Have the files of the visit worked out last made, with that version and its day; raises as work_out."""
        asked = json.dumps({"version": version, "day": day.isoformat() if day else None}).encode()
        with self._turn:
            if self._child is None or self._child.process.poll() is not None:  # and the visit with it
                raise StoppedError(*_BROKE_DOWN)
            return self._ask(lambda child: unpack_files(child.ask(b"files", asked)))

    def rows(self, studio: str, secret: str) -> tuple[str, bytes]:
        """Have the archive's rows of the visit worked out last made: their month and a file; raises as work_out."""
        asked = json.dumps({"studio": studio, "secret": secret}).encode()
        with self._turn:
            if self._child is None or self._child.process.poll() is not None:
                raise StoppedError(*_BROKE_DOWN)
            return self._ask(lambda child: unpack_rows(child.ask(b"rows.", asked)))

    def archive(self, batch: Batch) -> Archived:
        """Have the archive's rows of many visits made at once; raises as work_out, and then nothing was made of any."""
        seconds = min(self.limits.seconds + self.limits.seconds_more * len(batch.jobs), LONGEST_BATCH_S)
        with self._turn:
            return self._ask(
                lambda child: unpack_archived(child.ask(b"batch", pack_batch(batch)), len(batch.jobs)), seconds
            )

    def join(self, paths: Sequence[Path], gone: Collection[str]) -> bytes:
        """Have files of the archive joined, without the rows of visits that are gone; raises as work_out."""
        asked = json.dumps({"paths": [str(path) for path in paths], "gone": sorted(gone)}).encode()
        return self._ask(lambda child: child.ask(b"join.", asked))

    def learn(
        self, paths: Sequence[Path], gone: Sequence[int], studio: str, set_up: Mapping[str, str]
    ) -> tuple[str, list[str]]:
        """Have worked out what files of the archive teach: a history as text, sentences; raises as work_out."""
        of_studio = {"studio": studio, "set_up": dict(set_up)}
        asked = json.dumps({"paths": [str(path) for path in paths], "gone": list(gone), **of_studio})
        return self._ask(lambda child: unpack_lessons(child.ask(b"learn", asked.encode())))

    def draw(self, html: str, identifier: str) -> bytes:
        """Have a page drawn; raises ReportError when it fails, takes too long or needs too much memory."""
        asked = json.dumps({"html": html, "identifier": identifier}).encode()
        with _said_plainly():
            return self._ask(lambda child: child.ask(b"draw.", asked))

    def pages(self, pdf: bytes) -> tuple[tuple[int, int], ...]:
        """Have width and height of each page's picture looked up; raises as draw, and FaultError for what is no PDF."""
        with _said_plainly():
            return self._ask(lambda child: unpack_sizes(child.ask(b"pages", pdf)))

    def picture(self, pdf: bytes, number: int) -> bytes:
        """Have one page of a PDF drawn as PNG, 1 to MOST_PAGES; raises as pages, and ReportError when there is none."""
        if not 1 <= number <= MOST_PAGES:
            msg = f"There is no page {number}."
            raise ReportError(msg)
        with _said_plainly():
            return self._ask(lambda child: unpack_picture(child.ask(b"sheet", pack_sheet(pdf, number))))

    def close(self) -> None:
        """End the child, if there is one; the next job starts another."""
        with self._turn:
            child, self._child = self._child, None
            if child:
                child.end()


SHARED = Workshop()  # of this program: one child is enough, a report takes it about a second
atexit.register(SHARED.close)
