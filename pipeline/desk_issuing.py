"""The next version of a visit's report, made at the desk and filed away."""

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from pipeline import issuing
from pipeline.archive import Archive
from pipeline.desk_room import Room, today
from pipeline.errors import ReportError
from pipeline.issuing import Again, Issued
from pipeline.ledger import Entry
from pipeline.records import Given, Refusal


def folder_of(room: Room, entry: Entry) -> Path | None:
    """Give the folder of a visit's report."""
    if entry.state != "reported" or not entry.place:
        return None
    return room.place.outbox / entry.place


def issue(room: Room, entry: Entry, answers: Mapping[str, Given], facts: bytes | None = None) -> Again | Refusal:
    """Issue a visit again with answers by layout, and with corrected facts if there are some."""
    folder = folder_of(room, entry)
    known: Issued | None = issuing.issued(folder) if folder else None
    if folder is None or known is None or known.visit_id != entry.id:
        msg = "There is no report of this visit to make anew."
        raise ReportError(msg)
    outcome = issuing.again(
        room.place, room.ledger, folder, settings=room.settings, logo=room.logo, answers=answers, today=today(),
        workshop=room.workshop, facts=facts,
    )  # fmt: skip
    if isinstance(outcome, Again) and (outcome.new or outcome.kept):
        with suppress(OSError, ReportError):  # the daily upkeep makes up for it
            Archive(room.place, room.settings, room.ledger, room.workshop).file_last(entry.id)
    return outcome
