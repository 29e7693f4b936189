"""What the program and its child process say to each other: bytes through pipes, never objects.

What the child says is believed no further than its form: it has worked on files of strangers.
"""

import datetime as dt
import hashlib
import json
import re
import struct
from base64 import b64decode, b64encode
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, BinaryIO

from pipeline import history_text
from pipeline.branding import Logo
from pipeline.judgements import History
from pipeline.questions import Item, Question
from pipeline.records import Given, Refusal
from pipeline.settings import Settings
from pipeline.unknown_columns import Layout, Unknown

FILES = ("report.pdf", "letter.eml", "shots.csv", "fitting.json")
LARGEST = 100_000_000  # bytes of one message
LARGEST_PICTURE = 4_000  # pixels along a side of a page's picture
MOST_PAGES = 500  # of a report that are drawn; one of 2,000 shots has some 60
LONGEST_BATCH_S = 600.0  # the parent ends a slow one sooner
_OUTCOMES = ("held", "wait", "set_back")
_LONGEST_WORDS = 20_000
_MOST_BAYS = 1_000
_HEAD = struct.Struct(">5sQ")
_PAGE = struct.Struct(">I")
_PNG = b"\x89PNG\r\n\x1a\n"
_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")


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
    history: History | None = None


@dataclass(frozen=True, slots=True)
class Worked:
    """What the intake wants to know of a visit that was worked out; shots are marks of what was measured."""

    date: dt.date
    shots: frozenset[str]
    message: str
    lacks_characters: bool


@dataclass(frozen=True, slots=True)
class Batch:
    """Visits whose shots are to be read into the archive together; they share settings and answers."""

    jobs: tuple[Job, ...]
    studio: str
    secret: str  # of the customers' keys


@dataclass(frozen=True, slots=True)
class Archived:
    """What came of a batch: for each visit the month of its rows or why it has none; files: month → rows of all."""

    outcomes: tuple[str | Refusal, ...]
    files: Mapping[str, bytes]


def shot_mark(file: str, line: int, measured: Mapping[str, float]) -> str:
    """Give a short mark of a shot that no other shot of a studio has, unless it is the same one."""
    said = json.dumps([file, line, dict(measured)], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def visit_key(identity: str) -> int:
    """Give a visit's key in the archive: the first 63 bits of its id."""
    return int(identity[:16], 16) >> 1


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
    parts["history"] = history_text.plain(job.history)
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
        history=history_text.believed(parts["history"]),
    )


def pack_batch(batch: Batch) -> bytes:
    """Write a batch as bytes: what its visits share once."""
    shared = json.loads(pack_job(batch.jobs[0])) if batch.jobs else {}
    own = [
        {"name": job.name, "identity": job.identity, "originals": job.originals, "today": job.today.isoformat()}
        for job in batch.jobs
    ]
    return json.dumps({"shared": shared, "jobs": own, "studio": batch.studio, "secret": batch.secret}).encode()


def unpack_batch(content: bytes) -> Batch:
    """Read a batch back."""
    parts = json.loads(content)
    shared = unpack_job(json.dumps(parts["shared"]).encode()) if parts["jobs"] else None
    jobs = tuple(
        replace(
            shared, name=own["name"], identity=own["identity"], today=dt.date.fromisoformat(own["today"]),
            originals=tuple((name, path) for name, path in own["originals"]),
        )
        for own in parts["jobs"] if shared
    )  # fmt: skip
    return Batch(jobs, parts["studio"], parts["secret"])


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
        return _refusal(said["refusal"])
    parts = _object(said.get("worked"))
    shots = parts.get("shots")
    if not isinstance(shots, list):
        msg = "no list of shots"
        raise ValueError(msg)  # noqa: TRY004 - one kind of fault for all that has not the right form
    date = dt.date.fromisoformat(_words(parts.get("date")))
    marks = frozenset(_words(shot) for shot in shots)
    return Worked(date, marks, _words(parts.get("message")), parts.get("lacks_characters") is True)


def _refusal(said: Any) -> Refusal:  # noqa: ANN401 - whatever came
    parts = _object(said)
    if parts.get("outcome") not in _OUTCOMES or not isinstance(parts.get("exit_code"), int):
        msg = "no outcome of a visit"
        raise ValueError(msg)
    words = {name: _words(parts.get(name)) for name in ("what", "where", "to_do", "answer")}
    return Refusal(str(parts["outcome"]), parts["exit_code"], **words)


def pack_question(asked: Question | None) -> bytes:
    """Write what a held file asks as bytes."""
    return json.dumps(asdict(asked) if asked else None).encode()


def unpack_question(content: bytes) -> Question | None:
    """Read what a held file asks; raises ValueError when it is anything else."""
    if content == b"null":
        return None
    said = _object(_json(content))
    items = tuple(
        Item(_words(item["kind"]), _words(item["heading"]), _pairs(item["choices"]), _pairs(item["meanings"]))
        for item in map(_object, said["items"])
    )
    header = tuple(_words(heading) for heading in said["header"])
    return Question(_words(said["file"]), _words(said["what"]), header, items)


def _pairs(said: Any) -> tuple[tuple[str, str], ...]:  # noqa: ANN401 - whatever came
    return tuple((_words(one), _words(other)) for one, other in said)


def pack_layouts(found: Iterable[Layout]) -> bytes:
    """Write the columns nobody knows as bytes."""
    return json.dumps([asdict(layout) for layout in found]).encode()


def unpack_layouts(content: bytes) -> tuple[Layout, ...]:
    """Read them; raises ValueError when it is anything else."""
    return tuple(
        Layout(_words(one["layout"]), _words(one["file"]), tuple(_unknown(column) for column in one["columns"]))
        for one in map(_object, _json(content))
    )


def _unknown(said: Any) -> Unknown:  # noqa: ANN401 - whatever came
    parts = _object(said)
    values = tuple(_words(value) for value in parts["values"])
    choices = tuple((_words(name), tuple(_words(unit) for unit in units)) for name, units in parts["choices"])
    return Unknown(_words(parts["heading"]), values, choices, alone=parts["alone"] is True)


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


def pack_rows(month: str, content: bytes) -> bytes:
    """Write the archive's rows of a visit as bytes: the month's seven letters, then the file."""
    return month.encode() + content


def unpack_rows(content: bytes) -> tuple[str, bytes]:
    """Read them; raises ValueError when there is no month before them: it becomes a folder's name."""
    month = content[:7].decode("ascii")
    if not _MONTH.fullmatch(month):
        msg = "no rows of a visit"
        raise ValueError(msg)
    return month, content[7:]


def pack_archived(found: Archived) -> bytes:
    """Write what came of a batch as bytes."""
    said = [asdict(one) if isinstance(one, Refusal) else one for one in found.outcomes]
    return _with_head([said, [[month, len(content)] for month, content in found.files.items()]], found.files.values())


def unpack_archived(content: bytes, count: int) -> Archived:
    """Read what came of a batch of so many visits; raises ValueError when it is anything else."""
    head, start = _head(content)
    said, sizes = head
    outcomes = tuple(one if isinstance(one, str) else _refusal(one) for one in said)
    files = _cut(content, start, sizes)
    if len(outcomes) != count or not all(_MONTH.fullmatch(month) for month in files):
        msg = "no outcomes of these visits"
        raise ValueError(msg)
    if {one for one in outcomes if isinstance(one, str)} != files.keys():
        msg = "months without visits, or visits without rows"
        raise ValueError(msg)
    return Archived(outcomes, files)


def unpack_lessons(content: bytes) -> tuple[str, list[str]]:
    """Read what the archive teaches: a history as text, and sentences about bays; raises ValueError for aught else."""
    said = _object(_json(content))
    bays = said.get("bays")
    if not isinstance(bays, list) or len(bays) > _MOST_BAYS:
        msg = "no list of bays"
        raise ValueError(msg)
    return _words(said.get("history")), [_words(one) for one in bays]


def pack_files(files: Mapping[str, bytes]) -> bytes:
    """Write the files of a report as bytes."""
    return _with_head([[name, len(content)] for name, content in files.items()], files.values())


def unpack_files(content: bytes) -> dict[str, bytes]:
    """Read the files of a report; raises ValueError for any other name than a report's files have."""
    files = _cut(content, *reversed(_head(content)))
    if not files.keys() <= set(FILES):
        msg = "no files of a report"
        raise ValueError(msg)
    return files


def pack_sheet(pdf: bytes, number: int) -> bytes:
    """Write a PDF and the number of the page that is wanted of it as bytes."""
    return _PAGE.pack(number) + pdf


def unpack_sheet(content: bytes) -> tuple[bytes, int]:
    """Read them back."""
    return content[_PAGE.size :], _PAGE.unpack_from(content)[0]


def unpack_sizes(content: bytes) -> tuple[tuple[int, int], ...]:
    """Read width and height of each page's picture; raises ValueError when it is anything else."""
    sizes = tuple((width, height) for width, height in _json(content))
    sides = [side for size in sizes for side in size]
    if len(sizes) > MOST_PAGES or not all(type(side) is int and 0 < side <= LARGEST_PICTURE for side in sides):
        msg = "no sizes of pages"
        raise ValueError(msg)
    return sizes


def unpack_picture(content: bytes) -> bytes:
    """Read the picture of a page; raises ValueError when it is none."""
    if not content.startswith(_PNG):
        msg = "no picture of a page"
        raise ValueError(msg)
    return content


def _with_head(said: Any, contents: Iterable[bytes]) -> bytes:  # noqa: ANN401 - whatever JSON can say
    head = json.dumps(said).encode()
    return b"".join([struct.pack(">I", len(head)), head, *contents])


def _head(content: bytes) -> tuple[Any, int]:
    """Read what is said before files, and give where they start."""
    start = 4 + struct.unpack_from(">I", content.ljust(4, b"\0"))[0]
    return _json(content[4:start]), start


def _cut(content: bytes, start: int, sizes: Any) -> dict[str, bytes]:  # noqa: ANN401 - whatever came
    """Cut files apart; raises ValueError when names and sizes do not fit them."""
    files: dict[str, bytes] = {}
    for row in sizes:
        name, size = row
        if name in files or not isinstance(size, int) or not 0 <= size <= len(content) - start:
            msg = "no files"
            raise ValueError(msg)
        files[name] = content[start : start + size]
        start += size
    if start != len(content):
        msg = "more than the files that are named"
        raise ValueError(msg)
    return files
