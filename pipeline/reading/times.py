"""Date and time of the shot → ISO 8601 without zone; one order of day and month for the column."""

import datetime as dt
import re
from typing import TYPE_CHECKING

import polars as pl

from pipeline.trade_words import is_null_word, months, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

_ISO = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[ T](?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]$"
_CLOCK_ONLY = r"^[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?\s*(?:[AaPp]\.?[Mm]\.?)?$"
_FEW = 400  # below, plain Python is faster than setting up columns
_ISO_TEXT = re.compile(_ISO)
_CLOCK = (
    r"(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?(?:\s*(?:Z|UTC|[+-]\d{2}:?\d{2}))?)?"
)
_YEAR_FIRST = re.compile(r"(\d{4})([./-])(\d{1,2})\2(\d{1,2})" + _CLOCK)
_YEAR_LAST = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})" + _CLOCK)
_WORDED = re.compile(r"(?:(\d{1,2})[. -]*([^\W\d_]+)|([^\W\d_]+)[. ]+(\d{1,2}))[., -]+(\d{4})" + _CLOCK)


def holds_dates(texts: pl.Series) -> bool:
    """Tell whether a column holds dates without a time of day."""
    return texts.null_count() < len(texts) and bool((texts.str.contains("[0-9]") & ~texts.str.contains(":")).all())


def holds_clock(texts: pl.Series) -> bool:
    """Tell whether a column holds times of day without a date."""
    return texts.null_count() < len(texts) and bool(texts.str.contains(_CLOCK_ONLY).all())


def read_times(texts: pl.Series, answered: str | None = None) -> tuple[pl.Series, bool]:
    """Give the times, null where a text cannot be read for sure, and whether there were such texts.

    answered: dmy or mdy, taken where the column itself proves no order.
    """
    if len(texts) <= _FEW:
        return _one_by_one(texts, texts.unique().to_list(), answered)
    plain_iso = in_usual_form(texts)
    times = texts.str.replace(" ", "T", literal=True)
    if plain_iso.all():
        return times, False
    times = times.set(~plain_iso.fill_null(value=False), None)
    others = texts.filter(~plain_iso).unique().to_list()
    slow, unsure = _one_by_one(texts, others, answered)
    return times.fill_null(slow), unsure


def in_usual_form(texts: pl.Series) -> pl.Series:
    """Tell which texts are a date and time in the usual form, null where there is no text."""
    dates = texts.str.slice(0, 10)
    impossible = [date for date in dates.unique() if date and not _is_date(date)]
    usual = texts.str.contains(_ISO)
    return usual & ~dates.is_in(impossible) if impossible else usual


def _one_by_one(texts: pl.Series, chosen: "Sequence[str | None]", answered: str | None) -> tuple[pl.Series, bool]:
    """Read each of the different texts chosen; order of day and month is theirs in common."""
    filled = [text for text in chosen if text and not is_null_word(text)]
    order = _day_first(filled)
    if order is None and answered:
        order = answered == "dmy"
    read = {text: _iso(text, day_first=order) for text in filled}
    times = pl.Series(texts.name, [read.get(text or "") for text in texts.to_list()], dtype=pl.String)
    return times, None in read.values()


def _is_date(text: str) -> bool:
    try:
        dt.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _day_first(texts: "Sequence[str]") -> bool | None:
    """Tell the order that the column proves; None when it proves none, or both."""
    found = [match for text in texts if (match := _YEAR_LAST.fullmatch(text))]
    day = any(int(match[1]) > 12 for match in found)
    month = any(int(match[3]) > 12 for match in found)
    return day if day != month else None


def _iso(text: str, *, day_first: bool | None) -> str | None:
    if _ISO_TEXT.match(text):  # the usual form, read fastest
        return _built(text[:4], text[5:7], text[8:10], (text[11:13], text[14:16], text[17:]))
    if match := _YEAR_FIRST.fullmatch(text):
        return _built(match[1], match[3], match[4], match.groups()[4:])
    if match := _WORDED.fullmatch(text):
        month = months().get(plain(match[2] or match[3]))
        return _built(match[5], str(month), match[1] or match[4], match.groups()[5:]) if month else None
    match = _YEAR_LAST.fullmatch(text)
    if match is None:
        return None
    year = match[4] if len(match[4]) == 4 else f"20{match[4]}"
    by_day = _built(year, match[3], match[1], match.groups()[4:])
    by_month = _built(year, match[1], match[3], match.groups()[4:])
    if day_first is None:
        return by_day if by_day == by_month else (by_day or by_month if not (by_day and by_month) else None)
    return by_day if day_first else by_month


def _built(year: str, month: str, day: str, clock: "Sequence[str | None]") -> str | None:
    hour, minute, second, half = (*clock, None, None, None, None)[:4]
    try:
        hours = int(hour or 0)
        if half:
            hours = hours % 12 + (12 if half[0] in "pP" else 0)
        found = dt.datetime(int(year), int(month), int(day), hours, int(minute or 0), int(second or 0))  # noqa: DTZ001
    except ValueError:
        return None
    return found.isoformat()
