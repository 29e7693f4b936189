"""Shared by the tests of the edge: a studio in a temporary folder, and an intake whose clock is set by hand."""

import datetime as dt
import json
import logging
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import hypothesis
import pytest

from pipeline import settings, studio
from pipeline.judgements import History
from pipeline.questions import Question
from pipeline.records import AirUsed, Fate, Fitting, Refusal, ShotFile, ShotResult, VisitFacts
from pipeline.studio import Studio
from pipeline.unknown_columns import Layout
from pipeline.work_messages import Archived, Batch, Job, Worked
from pipeline.workshop import FaultError, Workshop

if TYPE_CHECKING:
    from pipeline.events import Event
    from pipeline.inbox import Inbox
    from tests.postgresql import Server

# the same examples every time, and no clock: a check that fails must fail again on the next machine
hypothesis.settings.register_profile("checks", deadline=None, derandomize=True)
hypothesis.settings.load_profile("checks")

TODAY = dt.date(2026, 11, 25)
HALF_WRITTEN = Refusal("wait", 2, "The file looks half-written.", "a.csv", "Wait until the export is finished.")
NO_UNIT = Refusal("held", 3, "No unit is stated for 'Ball speed'.", "a.csv", "Write the unit into the heading.")
NO_TABLE = Refusal("set_back", 2, "This is no table of shots.", "a.csv", "Export the shots as CSV text.")


def fitting_of(
    name: str, identity: str, day: dt.date, carries: tuple[float, ...] = (), file: str = "shots.csv"
) -> Fitting:
    """Make the record of a visit nobody worked out: the intake looks at its date, names and measured shots only."""
    shots = tuple(
        ShotResult(number, file, number + 1, 0, Fate("counted"), {"carry_m": carry}, {})
        for number, carry in enumerate(carries, 1)
    )
    air = AirUsed(
        altitude_m=0.0, temperature_c=20.0, humidity_percent=50.0, density_kgpm3=1.2, firmness="typical",
        drag_multiplier=1.0, lift_multiplier=1.0,
    )  # fmt: skip
    return Fitting(
        visit_id=identity, name=name, date=day, facts=VisitFacts(), files=(), own_club_from="label", air=air,
        sets=(), shots=shots, sources={}, comparisons=(), device_check=(), home=None, smallest_difference_m=4.6,
        cautions=(),
    )  # fmt: skip


@dataclass
class Bench:
    """A studio, an intake on it, and a stand-in for everything between the shot files and the PDF.

    The stand-in goes by the content of a visit's first file: words of `answers` are refused or raised, all else gets
    a report.
    """

    studio: Studio
    events: "list[Event]" = field(default_factory=list)
    now: float = 100.0
    today: dt.date = TODAY
    worked_out: list[str] = field(default_factory=list)
    answers: dict[str, Refusal | BaseException] = field(
        default_factory=lambda: {"half": HALF_WRITTEN, "no unit": NO_UNIT, "no table": NO_TABLE, "": HALF_WRITTEN}
    )
    extra_settings: str = ""
    shots: dict[str, tuple[float, ...]] = field(default_factory=dict)  # carries of the shots that stand for a content

    def open(self) -> "Inbox":
        """Start the intake, as after a restart of the program."""
        from pipeline.inbox import Inbox  # noqa: PLC0415 - brings every library along, which few tests need
        from pipeline.ledger import Ledger  # noqa: PLC0415

        chosen = settings.load("settle_seconds = 2\ngive_up_seconds = 60\n" + self.extra_settings)
        ledger = Ledger(self.studio.work / "ledger.sqlite3")
        inbox = Inbox(self.studio, chosen, ledger, self.events.append, lambda: self.now, lambda: self.today)
        inbox.recover()
        return inbox

    def drop(self, name: str, content: str | bytes) -> Path:
        """Put a file into the drop folder, or into a folder there."""
        path = self.studio.inbox / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    def go(self, inbox: "Inbox", seconds: float = 3.0) -> None:
        """Let that much time pass with a look before and after it, and work off what has settled."""
        for pause in (0.0, seconds):
            self.now += pause
            inbox.take_all(inbox.settled())
        inbox.work_off()

    def fit(
        self,
        name: str,
        files: list[ShotFile],
        facts: VisitFacts,
        _settings: object,
        today: dt.date,
        identity: str,
        _answers: object,
        history: History | None = None,
    ) -> Fitting | Refusal:
        """Stand in for pipeline.session.fit."""
        self.worked_out.append(name)
        said = files[0].content.decode(errors="replace")
        answer = self.answers.get(said)
        if isinstance(answer, BaseException):
            raise answer
        carries = self.shots.get(said, (200.0,))
        made = fitting_of(name, identity, facts.date or today, carries, files[0].name)
        return answer or replace(made, facts=facts, history=history)

    def kinds(self) -> list[str]:
        """Give the kinds of the events so far."""
        return [event.kind for event in self.events]

    def reports(self) -> list[str]:
        """Give the names of the folders in outbox/."""
        return sorted(path.name for path in self.studio.outbox.iterdir())

    def set_back(self) -> list[str]:
        """Give what lies in set-back/."""
        return sorted(path.name for path in self.studio.set_back.iterdir())


class InThisProcess(Workshop):
    """A workshop without a child process, so that what is worked with can be replaced."""

    lesson: tuple[str, list[str]] = "", []

    def prepare(self) -> None:
        """Need nothing."""

    def version(self) -> str:
        """Need nothing."""
        return "0"

    def work_out(self, job: Job) -> Worked | Refusal:
        """Work a visit out as the child does."""
        from pipeline import visits  # noqa: PLC0415 - brings every library along, which few tests need

        self.job, self.fitting = job, visits.work_out(job)
        return self.fitting if isinstance(self.fitting, Refusal) else visits.worked(self.fitting, job.settings)

    def question(self, job: Job) -> Question | None:
        """Look for a question as the child does."""
        from pipeline import visits  # noqa: PLC0415 - as above

        return visits.question(job)

    def left_aside(self, job: Job) -> tuple[Layout, ...]:
        """Look for columns nobody knows as the child does."""
        from pipeline import visits  # noqa: PLC0415 - as above

        return visits.left_aside(job)

    def files(self, version: int, day: dt.date | None) -> dict[str, bytes]:
        """Make the files as the child does."""
        from pipeline import visits  # noqa: PLC0415 - as above

        assert isinstance(self.fitting, Fitting)
        return visits.files(self.fitting, self.job, version, day)

    def rows(self, _studio: str, _secret: str) -> tuple[str, bytes]:
        """Give a line a shot that says whose it is, in place of the archive's own files."""
        assert isinstance(self.fitting, Fitting)
        lines = [f"{self.fitting.visit_id} {shot.line}\n" for shot in self.fitting.shots]
        return f"{self.fitting.date:%Y-%m}", "".join(lines).encode()

    def learn(self, *_asked: object) -> tuple[str, list[str]]:
        """Learn nothing, unless a test says what."""
        return self.lesson

    def pages(self, pdf: bytes) -> tuple[tuple[int, int], ...]:
        """Look up sizes as the child does."""
        from pipeline import page_pictures  # noqa: PLC0415 - a library along that few tests need

        with _of_no_pdf():
            return tuple((width, height) for width, height in page_pictures.sizes(pdf))

    def picture(self, pdf: bytes, number: int) -> bytes:
        """Draw a page as the child does."""
        from pipeline import page_pictures  # noqa: PLC0415 - as above

        with _of_no_pdf():
            return page_pictures.picture(pdf, number)

    def archive(self, batch: Batch) -> Archived:
        """Give such lines of many visits, by month."""
        outcomes = [self.work_out(job) for job in batch.jobs]
        files: dict[str, bytes] = {}
        said: list[str | Refusal] = []
        for job, outcome in zip(batch.jobs, outcomes, strict=True):
            if isinstance(outcome, Refusal):
                said.append(outcome)
                continue
            month = f"{outcome.date:%Y-%m}"
            said.append(month)
            lines = "".join(f"{job.identity} {number}\n" for number, _ in enumerate(sorted(outcome.shots), 2))
            files[month] = files.get(month, b"") + lines.encode()
        return Archived(tuple(said), files)

    def join(self, paths: Sequence[Path], gone: Collection[str]) -> bytes:
        """Join such files."""
        lines = sorted(line for path in paths for line in path.read_text(encoding="utf-8").splitlines())
        return "".join(f"{line}\n" for line in lines if line.split()[0] not in gone).encode()


@contextmanager
def _of_no_pdf() -> Iterator[None]:
    try:
        yield
    except (RuntimeError, IndexError) as fault:  # the library's own is a RuntimeError
        raise FaultError(str(fault), "") from fault


def _files(fitting: Fitting, _settings: object, _logo: object) -> dict[str, bytes]:
    day = fitting.version_date.isoformat() if fitting.version_date else None
    visit = {"id": fitting.visit_id, "name": fitting.name, "date": fitting.date.isoformat()}
    shots = [{"file": shot.file, "line": shot.line, "measured": shot.measured} for shot in fitting.shots]
    visit["customer"] = fitting.facts.customer or ""
    document = {"schema": 1, "visit": {**visit, "version": fitting.version, "version_date": day}, "shots": shots}
    return {"report.pdf": b"%PDF-", "fitting.json": json.dumps(document, indent=1).encode()}


def bench_on(place: Path, patch: pytest.MonkeyPatch) -> Bench:
    """Make a bench on an empty studio, and put its stand-ins into the program."""
    made = Bench(studio.create(place / "studio"))
    patch.setattr("pipeline.visits.session.fit", made.fit)
    patch.setattr("pipeline.visits.outputs.files", _files)
    patch.setattr("pipeline.workshop.SHARED", InThisProcess())
    return made


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """Give a bench on an empty studio."""
    return bench_on(tmp_path, monkeypatch)


@pytest.fixture(scope="session")
def postgresql() -> "Iterator[Server]":
    """Give a PostgreSQL server, or skip loudly."""
    from tests.postgresql import server  # noqa: PLC0415 - a library along that few tests need

    with server() as running:
        yield running


@pytest.fixture(autouse=True)
def _no_log_left_open() -> Iterator[None]:
    """Close the log file a command has opened."""
    yield
    log = logging.getLogger("baywright")
    for handler in [handler for handler in log.handlers if isinstance(handler, logging.FileHandler)]:
        log.removeHandler(handler)
        handler.close()


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run a command in this process; gives exit code, what it printed and what it said on the error channel."""

    def command(*words: object) -> tuple[int, str, str]:
        from pipeline.cli import main  # noqa: PLC0415 - as the command line does it

        try:
            code = main([str(word) for word in words])
        except SystemExit as end:
            code = int(end.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return command
