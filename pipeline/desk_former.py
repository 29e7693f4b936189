"""Words that staff wrote into an earlier version's letter: the next version has a fresh one, and these are not lost."""

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline import letter
from pipeline.errors import LetterError
from pipeline.letter import Letter
from pipeline.studio import EARLIER

_LOOKED_AT = 5  # versions back


@dataclass(frozen=True, slots=True)
class Former:
    """The letter of an earlier version that staff changed; certain is False for one that does not say.

    Its words are empty where they cannot be shown: it became a letter of another kind in a mail program.
    """

    number: int
    certain: bool
    subject: str = ""
    text: str = ""


def former(folder: Path) -> Former | None:
    """Give the newest of the earlier letters that staff changed, or may have changed."""
    numbers = [path.name.removeprefix("version ") for path in (folder / EARLIER).glob("version *")]
    known = sorted((int(number) for number in numbers if number.isdecimal() and number.isascii()), reverse=True)
    for number in known[:_LOOKED_AT]:
        try:
            found = _letter(folder, number)
        except LetterError:
            return Former(number, certain=True)
        except OSError:  # staff took it away
            continue
        if found.reworded or not found.written:
            return Former(number, bool(found.written), found.subject, found.text)
    return None


def words(folder: Path, number: str) -> str:
    """Give the words of an earlier version's letter; empty when there is none."""
    with suppress(OSError, LetterError):
        if number.isdecimal() and number.isascii() and len(number) < 9:
            return _letter(folder, int(number)).text
    return ""


def _letter(folder: Path, number: int) -> Letter:
    return letter.read((folder / EARLIER / f"version {number}" / "letter.eml").read_bytes(), "")
