"""One visit in the child process: the kept files in, its report's files out."""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from pipeline import letter, outputs, profiles, questions, session, shot_archive, strict_toml, visit_facts
from pipeline.errors import MissingPartError, PipelineError, SettingsError, UnreadableFileError
from pipeline.plurals import many
from pipeline.questions import Question
from pipeline.reading import read_shot_file, unknown_columns_of
from pipeline.records import FileReading, Fitting, Given, Refusal, ShotFile, VisitFacts
from pipeline.settings import Settings
from pipeline.staff_words import device_note
from pipeline.unknown_columns import Layout
from pipeline.work_messages import Job, Worked, shot_mark, visit_key

_MOST_LINES = 200_000  # of a file; a hundred times as many as a visit has shots
_MEND_FACTS = f"Correct {visit_facts.FILE_NAME} in the visit's folder in inbox/ and save it: that folder is read anew."


def work_out(job: Job) -> Fitting | Refusal:
    """Read the kept originals and work the visit out."""
    try:
        found = opened(job)
        if isinstance(found, Refusal):
            return found
        shots, known = found
        return session.fit(
            job.name, shots, known, job.settings, job.today, job.identity, job.answers, history=job.history
        )
    except MissingPartError:  # the machine's fault, not the visit's
        raise
    except PipelineError as fault:
        return Refusal("set_back", fault.exit_code, str(fault), job.name, "")


def question(job: Job) -> Question | None:
    """Read a held visit's files again; gives the first question that choices can settle."""
    found = opened(job)
    if isinstance(found, Refusal):
        return None
    shots, known = found
    return next((asked for asked in (_asked(file, known.hand, job.answers) for file in shots) if asked), None)


def _asked(file: ShotFile, hand: str | None, answers: Mapping[str, Given]) -> Question | None:
    reading, answered = _read(file, hand, answers)
    return questions.of(reading, lambda more: read_shot_file(file, profiles.joined(answered, more)))


def _read(file: ShotFile, hand: str | None, answers: Mapping[str, Given]) -> tuple[FileReading, Given]:
    """Read a shot file; also give what was known of it beforehand."""
    reading = session.read(file, hand, answers)
    answered = answers.get(profiles.fingerprint(reading.header), Given()) if reading.header else Given()
    return reading, profiles.with_hand(answered, hand)


def left_aside(job: Job) -> tuple[Layout, ...]:
    """Read a visit's files again; gives for each layout the columns nobody knows."""
    found = opened(job)
    if isinstance(found, Refusal):
        return ()
    shots, known = found
    layouts: dict[str, Layout] = {}
    for file in shots:
        reading, answered = _read(file, known.hand, job.answers)
        layout = profiles.fingerprint(reading.header)
        if layout not in layouts and (columns := unknown_columns_of(file, reading, answered)):
            layouts[layout] = Layout(layout, file.name, columns)
    return tuple(layouts.values())


def opened(job: Job) -> tuple[list[ShotFile], VisitFacts] | Refusal:
    """Read the kept originals of a visit: its shot files, and what its visit.toml says."""
    shots, facts = visit_facts.parted([ShotFile(name, Path(path).read_bytes()) for name, path in job.originals])
    long = next((file.name for file in shots if _is_too_long(file.content)), None)
    if long:
        what = f"It has more than {_MOST_LINES:,} lines or records, which is far more than one visit."
        return Refusal("set_back", UnreadableFileError.exit_code, what, long, "Drop the exports of one visit only.")
    if not shots:
        what = f"{visit_facts.FILE_NAME} tells about a visit, but no shot file lies beside it."
        to_do = f"Make a folder in inbox/ and put the shot files and {visit_facts.FILE_NAME} into it."
        return Refusal("set_back", UnreadableFileError.exit_code, what, job.name, to_do)
    try:
        return shots, _facts(facts, f"{job.name}/{visit_facts.FILE_NAME}")
    except SettingsError as fault:
        return Refusal("set_back", fault.exit_code, str(fault), job.name, _MEND_FACTS)


def _is_too_long(content: bytes) -> bool:
    """Tell whether reading a file would take long for nothing; braces count the records of JSON on one line."""
    return any(content.count(mark) > _MOST_LINES for mark in (b"\n", b"\r", b"{", b"["))


def _facts(content: bytes, at: str) -> VisitFacts:
    if len(content) > visit_facts.LARGEST:
        msg = f"{at}: too large for a {visit_facts.FILE_NAME}."
        raise SettingsError(msg)
    return visit_facts.read(strict_toml.decode(content, at), at) if content else VisitFacts()


def worked(fitting: Fitting, settings: Settings) -> Worked:
    """Give what the intake wants to know of it."""
    shots = frozenset(shot_mark(shot.file, shot.line, shot.measured) for shot in fitting.shots)
    lacking = bool(outputs.typeface_note(fitting, settings))
    return Worked(fitting.date, shots, message(fitting, settings), lacking)


def message(fitting: Fitting, settings: Settings) -> str:
    """Say in a line what became of a visit, and what staff should know before they pass its report on."""
    counted, sets = sum(result.n_counted for result in fitting.sets), len(fitting.sets)
    notes = [
        f"{many(len(fitting.shots), 'ball')}, {counted} counted, {many(sets, 'set')}",
        *(f"{check.file}: {device_note(check)}" for check in fitting.device_check if check.far_off),
        letter.address_note(fitting.facts.email),
        outputs.typeface_note(fitting, settings),
    ]
    return "; ".join(note for note in notes if note)


def files(fitting: Fitting, job: Job, version: int, day: dt.date | None) -> dict[str, bytes]:
    """Make the files of a version of the report; day is that on which it is made, None for the first one."""
    return outputs.files(replace(fitting, version=version, version_date=day), job.settings, job.logo)


def rows(fitting: Fitting, job: Job, studio: str, secret: str) -> tuple[str, bytes]:
    """Give the archive's rows of a visit: their month and a file."""
    if fitting.decided is None:
        msg = "a visit without its shots"
        raise LookupError(msg)
    made = shot_archive.rows(fitting.decided, job.identity, studio, secret)
    return f"{fitting.date:%Y-%m}", shot_archive.written(made)


def joined(paths: Sequence[Path], gone: Collection[str]) -> bytes:
    """Join files of the archive, without the rows of visits that are gone."""
    return shot_archive.joined(paths, {visit_key(identity) for identity in gone})
