"""The child process that draws the PDFs: takes a job, gives the bytes, dies with its parent.

It starts no other program, talks through its two pipes alone, and what it sends is bytes and never objects: whatever a
page does to it, the parent does not have to believe it.
"""

import datetime as dt
import json
import os
import queue
import shutil
import signal
import struct
import tempfile
import threading
from base64 import b64decode, b64encode
from contextlib import suppress
from typing import BinaryIO

from pipeline import pdf_writer
from pipeline.errors import MissingPartError
from pipeline.pdf_writer import Attached

_GRACE_S = 10  # the parent ends a slow child first; this is for a child whose parent is gone


def send(stream: BinaryIO, kind: bytes, content: bytes) -> None:
    """Write one message: a word of five letters that says what it is, the length, the content."""
    stream.write(struct.pack(">5sQ", kind, len(content)) + content)
    stream.flush()


def receive(stream: BinaryIO) -> tuple[bytes, bytes] | None:
    """Read one message; None when the other side is gone."""
    head = stream.read(13)
    if len(head) < 13:
        return None
    kind, length = struct.unpack(">5sQ", head)
    content = stream.read(length)
    return (kind, content) if len(content) == length else None


def job(html: str, identifier: str, attached: Attached | None) -> bytes:
    """Pack what is to be drawn."""
    parts = {"html": html, "identifier": identifier, "attached": None}
    if attached:
        content, day = b64encode(attached.content).decode(), attached.day.isoformat()
        parts["attached"] = [attached.name, attached.description, content, day]  # type: ignore[assignment]
    return json.dumps(parts).encode()


def _draw(packed: bytes) -> bytes:
    """Unpack a job and draw it."""
    parts, attached = json.loads(packed), None
    if parts["attached"]:
        name, description, content, day = parts["attached"]
        attached = Attached(name, description, b64decode(content), dt.date.fromisoformat(day))
    return pdf_writer.write(parts["html"], parts["identifier"], attached)


def _limit(megabytes: int) -> None:
    """Cap this process's memory, and have it leave no memory dump: it would hold a customer's data."""
    with suppress(ImportError, OSError, ValueError):  # Windows has no such limits, and not every system this one
        import resource  # noqa: PLC0415

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        most = megabytes * 1_000_000
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))


def _set_alarm(seconds: float) -> None:
    """Have the system end this process after so many seconds, even when Python is stuck; 0 for never."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _listen(jobs: BinaryIO, waiting: "queue.SimpleQueue[bytes]", scratch: str) -> None:
    """Put jobs into the queue; when the parent is gone, end at once, whatever is being drawn."""
    while message := receive(jobs):
        waiting.put(message[1])
    shutil.rmtree(scratch, ignore_errors=True)
    os._exit(0)


def _own_pipes() -> tuple[BinaryIO, BinaryIO]:
    """Keep the pipes to the parent for ourselves: what a library prints goes nowhere."""
    jobs, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nothing, number)
    return jobs, answers


def serve(scratch: str, seconds: float, megabytes: int) -> None:
    """Draw one job after the other, until the parent is gone or memory runs out."""
    for name in ("SIGINT", "SIGTERM"):  # the parent finishes its report first, then it ends us
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    jobs, answers = _own_pipes()
    tempfile.tempdir = scratch  # the renderer unpacks fonts there; a killed one could not clear them away
    _limit(megabytes)
    waiting: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(jobs, waiting, scratch), daemon=True).start()
    try:
        send(answers, b"ready", pdf_writer.load().__version__.encode())
    except MissingPartError as fault:
        send(answers, b"lacks", str(fault).encode())
    except Exception as fault:  # noqa: BLE001 - a package that is there and broken
        again = "Install again: pip install --force-reinstall baywright"
        send(answers, b"lacks", f"the package weasyprint cannot be loaded ({fault!r:.200}). {again}".encode())
    while True:
        packed = waiting.get()
        _set_alarm(seconds + _GRACE_S)
        try:
            send(answers, b"drawn", _draw(packed))
        except MemoryError:
            send(answers, b"large", f"it needs more than {megabytes} MB of memory".encode())
            os._exit(1)
        except Exception as fault:  # noqa: BLE001 - whatever it is, the parent says it
            send(answers, b"fault", f"{type(fault).__name__}: {str(fault)[:200]}".encode())
        _set_alarm(0)
