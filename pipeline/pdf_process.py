"""The child process as its parent sees it: started when needed, timed, ended when it fails, renewed now and then."""

import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import BinaryIO, TypeVar, cast

from pipeline.errors import MissingPartError, ReportError
from pipeline.pdf_worker import receive, send

_START = "import sys; sys.path[:] = sys.argv[4:]; from pipeline.pdf_worker import serve; "
_START += "serve(sys.argv[1], float(sys.argv[2]), int(sys.argv[3]))"
_TELL = "tell whoever looks after this program."
_TOO_MUCH = f"Drop fewer shots at once if this is far more than one fitting; else {_TELL}"
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Limits:
    """How long one report may take, how much memory the child may use, and after how many reports it is renewed."""

    seconds: float = 60.0
    megabytes: int = 1000
    reports: int = 25


class _GoneError(Exception):
    """The child has ended without an answer."""


class _Child:
    """One child process: its pipes, and a folder for what it unpacks."""

    def __init__(self, limits: Limits) -> None:
        self.made = 0
        self.version = ""
        self.busy = True  # it is loading the renderer
        self._late = False
        self._limits = limits
        self._scratch = tempfile.mkdtemp(prefix="baywright-")
        words = [self._scratch, str(limits.seconds), str(limits.megabytes), *sys.path]
        try:
            self.process = subprocess.Popen(  # noqa: S603 - our own interpreter and our own words
                [sys.executable, "-I", "-c", _START, *words],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                start_new_session=True,  # Ctrl-C in the console is for the parent
                creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            )  # fmt: skip
        except OSError:
            shutil.rmtree(self._scratch, ignore_errors=True)
            raise
        self._jobs = cast("BinaryIO", self.process.stdin)
        self._answers = cast("BinaryIO", self.process.stdout)

    @contextmanager
    def timed(self) -> Iterator[None]:
        """Kill the child when what is done here takes too long: every wait for it then ends."""
        timer = threading.Timer(self._limits.seconds, self._too_late)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()
            timer.join()
        if self._late:
            msg = f"The PDF could not be made: it took longer than {self._limits.seconds:.0f} seconds. {_TOO_MUCH}"
            raise ReportError(msg)

    def _too_late(self) -> None:
        self._late = True
        self.process.kill()

    def _answer(self) -> tuple[bytes, bytes]:
        message = receive(self._answers)
        if message is None and not self._late:
            raise _GoneError
        self.busy = False
        return message or (b"", b"")

    def get_ready(self) -> None:
        """Wait until it has loaded the renderer; raises MissingPartError when that is not installed."""
        if not self.version:
            kind, content = self._answer()
            if kind == b"lacks":
                raise MissingPartError(content.decode())
            self.version = content.decode()

    def draw(self, packed: bytes) -> bytes:
        """Have one job drawn."""
        self.get_ready()
        self.busy = True
        with suppress(OSError):  # it has ended: that is heard next
            send(self._jobs, b"draw.", packed)
        kind, content = self._answer()
        if kind in (b"large", b"fault"):
            to_do = _TOO_MUCH if kind == b"large" else f"Keep what was dropped, and {_TELL}"
            msg = f"The PDF could not be made: {content.decode(errors='replace')}. {to_do}"
            raise ReportError(msg)
        self.made += 1
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


class Renderer:
    """Draws PDFs in a child process, one at a time; may be used from several threads."""

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self._child: _Child | None = None
        self._turn = threading.RLock()

    @property
    def pid(self) -> int | None:
        """Number of the child process, if there is one."""
        return self._child.process.pid if self._child else None

    def prepare(self) -> None:
        """Start the child and do not wait for it: it loads the renderer while we do something else."""
        self._ready_child()

    def _ready_child(self) -> _Child:
        with self._turn:
            if self._child is None:
                try:
                    self._child = _Child(self.limits)
                except OSError as fault:
                    msg = f"The PDF could not be made: no process could be started ({fault.strerror}). Try it again."
                    raise ReportError(msg) from fault
            return self._child

    def _ask(self, question: Callable[[_Child], _T]) -> _T:
        """Ask the child, and once more a new one if it was gone: somebody may have ended it while it waited."""
        with self._turn:
            for _ in range(2):
                child = self._ready_child()
                try:
                    with child.timed():
                        return question(child)
                except _GoneError:
                    self.close()
                except BaseException:  # and Ctrl-C: what it would answer next is for nobody
                    self.close()
                    raise
            msg = f"The PDF could not be made: what draws it broke down, twice. Keep what was dropped, and {_TELL}"
            raise ReportError(msg)

    def version(self) -> str:
        """Give the renderer's version once it is loaded; raises MissingPartError when it is not installed."""
        self._ask(_Child.get_ready)
        return self._ready_child().version

    def draw(self, packed: bytes) -> bytes:
        """Have a job drawn; raises ReportError when it fails, takes too long or needs too much memory."""
        with self._turn:
            made = self._ask(lambda child: child.draw(packed))
            if self._ready_child().made >= self.limits.reports:  # it grows a little with each
                self.close()
            return made

    def close(self) -> None:
        """End the child, if there is one; the next job starts another."""
        with self._turn:
            child, self._child = self._child, None
            if child:
                child.end()
