"""What the program and its child process say to each other: bytes through pipes, never objects.

What the child says is believed no further than its form: it has worked on files of strangers.
"""

import datetime as dt
import hashlib
import json
import struct
from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, BinaryIO

from pipeline.branding import Logo
from pipeline.records import Given, Refusal
from pipeline.settings import Settings

FILES = ("report.pdf", "letter.eml", "shots.csv", "fitting.json")
LARGEST = 100_000_000  # bytes of one message
_OUTCOMES = ("held", "wait", "set_back")
_LONGEST_WORDS = 20_000
_HEAD = struct.Struct(">5sQ")


@dataclass(frozen=True, slots=True)
class Job:
    """A visit to be worked out: everything its report depends on; originals are names and the paths of their copies."""

    name: str
    identity: str
    originals: tuple[tuple[str, str], ...]
    settings: Settings
    today: dt.date
    answers: Mapping[str, Given]
    logo: Logo | None = None


@dataclass(frozen=True, slots=True)
class Worked:
    """What the intake wants to know of a visit that was worked out; shots are marks of what was measured."""

    date: dt.date
    shots: frozenset[str]
    message: str
    lacks_characters: bool


def shot_mark(file: str, line: int, measured: Mapping[str, float]) -> str:
    """Give a short mark of a shot that no other shot of a studio has, unless it is the same one."""
    said = json.dumps([file, line, dict(measured)], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()[:16]


# --- messages -----------------------------------------------------------------------------------------------------
def send(stream: BinaryIO, kind: bytes, content: bytes) -> None:
    """Write one message: a word of five letters that says what it is, the length, the content."""
    stream.write(_HEAD.pack(kind, len(content)))
    stream.write(content)
    stream.flush()


def receive(stream: BinaryIO) -> tuple[bytes, bytes] | None:
    """Read one message; None when the other side is gone, or says it would send more than anybody wants."""
    head = stream.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    kind, length = _HEAD.unpack(head)
    if length > LARGEST:
        return None
    content = stream.read(length)
    return (kind, content) if len(content) == length else None


# --- to the child -------------------------------------------------------------------------------------------------
def pack_job(job: Job) -> bytes:
    """Write a job as bytes."""
    parts = {one.name: getattr(job, one.name) for one in fields(job)}
    parts |= {"settings": asdict(job.settings), "today": job.today.isoformat(), "logo": None}
    parts["answers"] = {layout: asdict(given) for layout, given in job.answers.items()}
    if job.logo:
        parts["logo"] = asdict(job.logo) | {"content": b64encode(job.logo.content).decode()}
    return json.dumps(parts).encode()


def unpack_job(content: bytes) -> Job:
    """Read a job back."""
    parts: dict[str, Any] = json.loads(content)
    logo = parts["logo"]
    return Job(
        name=parts["name"],
        identity=parts["identity"],
        originals=tuple((name, path) for name, path in parts["originals"]),
        settings=Settings(**parts["settings"]),
        today=dt.date.fromisoformat(parts["today"]),
        answers={layout: Given(**given) for layout, given in parts["answers"].items()},
        logo=Logo(**logo | {"content": b64decode(logo["content"])}) if logo else None,
    )


# --- from the child -----------------------------------------------------------------------------------------------
def pack_outcome(outcome: Worked | Refusal) -> bytes:
    """Write what came of a visit as bytes."""
    if isinstance(outcome, Refusal):
        return json.dumps({"refusal": asdict(outcome)}).encode()
    parts = asdict(outcome) | {"date": outcome.date.isoformat(), "shots": sorted(outcome.shots)}
    return json.dumps({"worked": parts}).encode()


def unpack_outcome(content: bytes) -> Worked | Refusal:
    """Read what came of a visit; raises ValueError when it is anything else."""
    said = _object(_json(content))
    if "refusal" in said:
        parts = _object(said["refusal"])
        if parts.get("outcome") not in _OUTCOMES or not isinstance(parts.get("exit_code"), int):
            msg = "no outcome of a visit"
            raise ValueError(msg)
        words = {name: _words(parts.get(name)) for name in ("what", "where", "to_do", "answer")}
        return Refusal(str(parts["outcome"]), parts["exit_code"], **words)
    parts = _object(said.get("worked"))
    shots = parts.get("shots")
    if not isinstance(shots, list):
        msg = "no list of shots"
        raise ValueError(msg)  # noqa: TRY004 - one kind of fault for all that has not the right form
    date = dt.date.fromisoformat(_words(parts.get("date")))
    marks = frozenset(_words(shot) for shot in shots)
    return Worked(date, marks, _words(parts.get("message")), parts.get("lacks_characters") is True)


def _json(content: bytes) -> Any:  # noqa: ANN401 - whatever it holds
    try:
        return json.loads(content)
    except RecursionError as fault:
        msg = "too deep"
        raise ValueError(msg) from fault


def _object(value: Any) -> dict[str, Any]:  # noqa: ANN401 - whatever came
    if not isinstance(value, dict):
        msg = "no object"
        raise ValueError(msg)  # noqa: TRY004 - as above
    return value


def _words(value: Any) -> str:  # noqa: ANN401 - whatever came
    if not isinstance(value, str) or len(value) > _LONGEST_WORDS:
        msg = "no words"
        raise ValueError(msg)
    return value


def pack_files(files: Mapping[str, bytes]) -> bytes:
    """Write the files of a report as bytes."""
    head = json.dumps([[name, len(content)] for name, content in files.items()]).encode()
    return b"".join([struct.pack(">I", len(head)), head, *files.values()])


def unpack_files(content: bytes) -> dict[str, bytes]:
    """Read the files of a report; raises ValueError for any other name than a report's files have."""
    start = 4 + struct.unpack_from(">I", content.ljust(4, b"\0"))[0]
    files: dict[str, bytes] = {}
    for row in _json(content[4:start]):
        name, size = row
        if name not in FILES or name in files or not isinstance(size, int) or not 0 <= size <= len(content) - start:
            msg = "no files of a report"
            raise ValueError(msg)
        files[name] = content[start : start + size]
        start += size
    if start != len(content):
        msg = "more than the files of a report"
        raise ValueError(msg)
    return files
