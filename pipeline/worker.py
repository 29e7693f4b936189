"""The child process: works visits out and makes their reports, says bytes, dies with its parent.

It starts no other program and talks through its two pipes alone: whatever a file does to it, the parent does not have
to believe it.
"""

import datetime as dt
import json
import os
import queue
import shutil
import signal
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pipeline import pdf_writer
from pipeline.errors import MissingPartError, trail
from pipeline.records import Fitting, Refusal
from pipeline.work_messages import (
    LARGEST,
    LONGEST_BATCH_S,
    Job,
    pack_archived,
    pack_files,
    pack_layouts,
    pack_outcome,
    pack_question,
    pack_rows,
    receive,
    send,
    unpack_batch,
    unpack_job,
    unpack_sheet,
)

_GRACE_S = 10  # the parent ends a slow child first; this is for a child whose parent is gone


@dataclass(slots=True)
class _Desk:
    """What is worked on: one visit after the other, each worked out first and then written, perhaps twice."""

    job: Job | None = None
    fitting: Fitting | None = None

    def answer(self, kind: bytes, content: bytes) -> bytes:
        """Do what a message asks for."""
        match kind:
            case b"visit":
                return self._work_out(unpack_job(content))
            case b"files":
                return self._files(**json.loads(content))
            case b"rows.":
                return self._rows(**json.loads(content))
            case _ if kind in _OF_CONTENT:
                return _OF_CONTENT[kind](content)
            case _:
                return _BY_ITSELF[kind](**json.loads(content))

    def _work_out(self, job: Job) -> bytes:
        from pipeline import visits  # noqa: PLC0415 - see _say_ready

        self.job, self.fitting = None, None
        outcome = visits.work_out(job)
        if isinstance(outcome, Refusal):
            return pack_outcome(outcome)
        self.job, self.fitting = job, outcome
        return pack_outcome(visits.worked(outcome, job.settings))

    def _rows(self, studio: str, secret: str) -> bytes:
        if self.job is None or self.fitting is None:
            msg = "no visit was worked out"
            raise LookupError(msg)
        from pipeline import visits  # noqa: PLC0415 - see _say_ready

        return pack_rows(*visits.rows(self.fitting, self.job, studio, secret))

    def _files(self, version: int, day: str | None) -> bytes:
        if self.job is None or self.fitting is None:
            msg = "no visit was worked out"
            raise LookupError(msg)
        from pipeline import visits  # noqa: PLC0415 - see _say_ready

        made = visits.files(self.fitting, self.job, version, dt.date.fromisoformat(day) if day else None)
        packed = pack_files(made)
        if len(packed) > LARGEST:
            msg = f"its files would hold more than {LARGEST // 1_000_000} MB"
            raise ValueError(msg)
        return packed


def _archive(batch: bytes) -> bytes:
    from pipeline import visit_batches  # noqa: PLC0415 - see _say_ready

    return pack_archived(visit_batches.archive(unpack_batch(batch)))


def _question(job: bytes) -> bytes:
    from pipeline import visits  # noqa: PLC0415 - see _say_ready

    return pack_question(visits.question(unpack_job(job)))


def _left_aside(job: bytes) -> bytes:
    from pipeline import visits  # noqa: PLC0415 - see _say_ready

    return pack_layouts(visits.left_aside(unpack_job(job)))


def _join(paths: list[str], gone: list[str]) -> bytes:
    from pipeline import visits  # noqa: PLC0415 - see _say_ready

    return visits.joined([Path(path) for path in paths], gone)


def _learn(paths: list[str], gone: list[int], studio: str, set_up: dict[str, str]) -> bytes:
    from pipeline import lessons  # noqa: PLC0415 - see _say_ready

    return json.dumps(lessons.learned([Path(path) for path in paths], gone, studio, set_up)).encode()


def _sizes(pdf: bytes) -> bytes:
    from pipeline import page_pictures  # noqa: PLC0415 - its library is needed at the desk only

    return json.dumps(page_pictures.sizes(pdf)).encode()


def _picture(sheet: bytes) -> bytes:
    from pipeline import page_pictures  # noqa: PLC0415 - as above

    return page_pictures.picture(*unpack_sheet(sheet))


_OF_CONTENT: dict[bytes, Callable[[bytes], bytes]] = {
    b"asked": _question, b"aside": _left_aside, b"batch": _archive, b"pages": _sizes, b"sheet": _picture,
}  # fmt: skip
_BY_ITSELF: dict[bytes, Callable[..., bytes]] = {b"join.": _join, b"learn": _learn, b"draw.": pdf_writer.write}


def _limit(megabytes: int) -> None:
    """Cap this process's memory, and have it leave no memory dump: it would hold a customer's data."""
    with suppress(ImportError, OSError, ValueError):  # Windows has no such limits, and not every system this one
        import resource  # noqa: PLC0415

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        most = megabytes * 1_000_000
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))


def _peak() -> int:
    """Give how much memory this process has had so far, as the system counts it for a process that has ended."""
    with suppress(ImportError):
        import resource  # noqa: PLC0415

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return 0


def _set_alarm(seconds: float) -> None:
    """Have the system end this process after so many seconds, even when Python is stuck; 0 for never."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _listen(jobs: BinaryIO, waiting: "queue.SimpleQueue[tuple[bytes, bytes]]", scratch: str) -> None:
    """Put jobs into the queue; when the parent is gone, end at once, whatever is being done."""
    while message := receive(jobs):
        waiting.put(message)
    shutil.rmtree(scratch, ignore_errors=True)
    os._exit(0)


def _own_pipes() -> tuple[BinaryIO, BinaryIO]:
    """Keep the pipes to the parent for ourselves: what a library prints goes nowhere."""
    jobs, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nothing, number)
    return jobs, answers


def _say_ready(answers: BinaryIO) -> None:
    """Load the renderer, which may be missing, then all the rest; say the version or what is missing."""
    try:
        version = pdf_writer.load().__version__
        import pipeline.visits  # noqa: F401, PLC0415

        send(answers, b"ready", json.dumps({"version": version, "peak": _peak()}).encode())
    except MissingPartError as fault:
        send(answers, b"lacks", str(fault).encode())
    except Exception as fault:  # noqa: BLE001 - a package that is there and broken
        again = "Install again: pip install --force-reinstall baywright"
        send(answers, b"lacks", f"the libraries cannot be loaded ({fault!r:.200}). {again}".encode())


def serve(scratch: str, seconds: float, megabytes: int) -> None:
    """Do one job after the other, until the parent is gone or memory runs out."""
    for name in ("SIGINT", "SIGTERM"):  # the parent finishes its report first, then it ends us
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    jobs, answers = _own_pipes()
    tempfile.tempdir = scratch  # the renderer unpacks fonts there; a killed one could not clear them away
    _limit(megabytes)
    waiting: queue.SimpleQueue[tuple[bytes, bytes]] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(jobs, waiting, scratch), daemon=True).start()
    _say_ready(answers)
    desk = _Desk()
    while True:
        kind, content = waiting.get()
        _set_alarm((LONGEST_BATCH_S if kind == b"batch" else seconds) + _GRACE_S)
        try:
            send(answers, b"done.", desk.answer(kind, content))
        except MemoryError:
            send(answers, b"large", b"")
            os._exit(1)
        except Exception as fault:  # noqa: BLE001 - whatever it is, the parent says it
            said = {"said": f"{type(fault).__name__}: {str(fault)[:200]}", "trail": trail(fault)[:2000]}
            send(answers, b"fault", json.dumps(said).encode())
        _set_alarm(0)
