"""`baywright letter DIR VISIT [--send]`."""

import argparse
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, open_ledger, printable, typed_in
from pipeline.errors import LetterError, SettingsError

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from pipeline.letter import Letter
    from pipeline.settings import Settings
    from pipeline.studio import Studio


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("visit", metavar="VISIT", help="name of the report's folder in outbox/, or a part only it has")
    parser.add_argument("--to", metavar="ADDRESS", help="whom it goes to, instead of the letter's own To line")
    parser.add_argument("--send", action="store_true", help="send it; without this nothing leaves the computer")
    parser.add_argument("--again", action="store_true", help="send it although it was sent, or may have been, before")
    parser.epilog = (
        "Shows what lies in letter.eml, as it stands there now; what you change there is what is sent.\n"
        "You may as well open letter.eml in your mail program and send it from there.\n"
        'example:\n  baywright letter ~/fitting-studio "customer 0142"'
    )


def run(given: argparse.Namespace) -> int:
    """Show the letter; send it when asked to."""
    from dataclasses import replace

    from pipeline.addresses import address
    from pipeline.commands.report_folder import find
    from pipeline.mailing import letter_in
    from pipeline.studio import opened

    studio, settings = opened(given.folder)
    place = find(studio, given.visit)
    letter = letter_in(place)
    if given.to is not None:
        to = address(given.to)
        if to is None:
            msg = f"--to {given.to!r}: this is not one plain e-mail address, such as customer@example.org."
            raise SettingsError(msg)
        letter = replace(letter, to=to)
    if given.send:
        return _send(studio, settings, letter, again=given.again)
    for line in _shown(studio, settings, place, letter):
        print(printable(line.replace("\u00a0", " ")).rstrip())
    to = f" --to {letter.to}" if given.to else ""
    print(printable(f"To send it: baywright letter {typed_in(given.folder)} {_quoted(place.name)}{to} --send"))
    return 0


def _quoted(name: str) -> str:
    """Write a name so that no shell takes a part of it for a command."""
    import os
    import shlex

    return shlex.quote(name) if os.name == "posix" else f'"{name}"'


# --- showing and sending ----------------------------------------------------------------------------------------------
def _shown(studio: "Studio", settings: "Settings", place: "Path", letter: "Letter") -> list[str]:
    from pipeline import mailing

    ledger = open_ledger(studio, settings)
    try:
        before = mailing.earlier(letter, ledger)
    finally:
        ledger.close()
    through = f"{settings.smtp_host}, port {settings.smtp_port}, {settings.smtp_security}"
    lines = [
        f"Letter     {place.name}",
        f"From       {settings.mail_from or 'nobody yet: set mail_from in studio.toml'}",
        f"To         {letter.to or 'nobody yet: write email = … into visit.toml, or add --to ADDRESS'}",
        f"Subject    {letter.subject}",
        f"Attached   {letter.pdf_name}, {len(letter.pdf) / 1000:.0f} kB",
        f"Through    {through if settings.smtp_host else 'nothing yet: set smtp_host in studio.toml'}",
        f"Before     {before or 'not sent by this program'}",
    ]
    note = mailing.password_file_note()
    lines += [f"Note       {note}"] if note and settings.smtp_password_file else []
    return [*lines, "", *(f"  {line}" for line in letter.text.splitlines()), "", "Nothing was sent."]


def _send(studio: "Studio", settings: "Settings", letter: "Letter", *, again: bool) -> int:
    import os

    from pipeline import mailing
    from pipeline.letter import message

    if not letter.to:
        msg = "the letter has no address. Add --to ADDRESS, or write the To line into letter.eml. Nothing was sent."
        raise LetterError(msg)
    server = mailing.server(settings, studio.root, os.environ)
    ledger = open_ledger(studio, settings)
    try:
        made = message(letter, settings, _now(), unsent=False)
        mailing.send(letter, made, server, ledger, _now, again=again)
    finally:
        ledger.close()
    print(f"sent to {letter.to} through {server}")
    return 0


def _now() -> "dt.datetime":
    import datetime as dt

    return dt.datetime.now(dt.UTC)
