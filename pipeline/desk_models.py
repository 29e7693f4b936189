"""How clubs do, on the desk: what was asked for, and what is handed out."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from pipeline import models_files, models_report, models_words
from pipeline.errors import SettingsError
from pipeline.model_sums import Wanted
from pipeline.rollup_records import ModelsFound
from pipeline.settings import Settings

BY = (("loft", "loft"), ("shaft", "shaft"), ("month", "month"), ("studio", "studio"))
KINDS = ("driver", "wood", "hybrid", "iron", "wedge")
_MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])")
_LONGEST_KIND = 40
# the page carries its own style and script, and names them by their hashes in a policy of its own, which holds as well
PAGE_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; font-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
TYPES = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
    "pdf": "application/pdf",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the filters say, as typed."""

    since: str
    until: str
    category: str
    by: tuple[str, ...]

    @property
    def query(self) -> str:
        """Write it as the end of an address."""
        parts = [("since", self.since), ("until", self.until), ("category", self.category)]
        return urlencode([(key, value) for key, value in parts if value] + [("by", name) for name in self.by])


def asked(query: Mapping[str, str], by: list[str]) -> Asked:
    """Read the filters."""
    since, until, category = (query.get(key, "").strip()[:_LONGEST_KIND] for key in ("since", "until", "category"))
    return Asked(since, until, category, tuple(name for name, _ in BY if name in by))


def wanted(given: Asked) -> Wanted:
    """Check the filters; raises SettingsError that says what is wrong."""
    for month in (given.since, given.until):
        if month and not _MONTH.fullmatch(month):
            msg = f"“{month}” is no month such as 2026-03."
            raise SettingsError(msg)
    if given.since and given.until and given.since > given.until:
        msg = f"{given.since} lies after {given.until}: no month is between them."
        raise SettingsError(msg)
    return Wanted(given.since or None, given.until or None, given.category or None, given.by)


def none_found(said: str) -> str:
    """Say without the options of the command that nothing is kept of what was asked for."""
    first, *more = said.split(".")
    first = first.replace("for --since", "since").replace("for --until", "until").replace("--category ", "")
    return ".".join([first.replace("--since", "since").replace("--until", "until"), *more])


def file_name(found: ModelsFound, ending: str) -> str:
    """Name a file by what is in it, so that those of two filters lie beside each other."""
    parts = ["club-models", found.kind, found.first_month]
    parts += ["to", found.last_month] if found.last_month != found.first_month else []
    parts += ["by", *found.by] if found.by else []
    return f"{re.sub(r'[^A-Za-z0-9]+', '-', '-'.join(part for part in parts if part))}.{ending}"


def summary(found: ModelsFound, settings: Settings, day: dt.date) -> list[str]:
    """Say the answer in short, in English as the desk is; the page itself has the studio's language."""
    page = models_words.page_of(found, replace(settings, language="en"), day)
    bays = page.words.get("models.headings.bays")
    said = [models_words.lead(page), models_words.under(page).replace(f"“{bays}”", f"“{bays}” on the whole page")]
    for category in found.categories:
        head = models_words.kind(page, category.category)
        said += [f"{head}: {' '.join(models_words.answer(page, category))}"]
    return said


def handed_out(ending: str, found: ModelsFound, settings: Settings, day: dt.date) -> bytes:
    """Make a workbook or a table."""
    if ending == "xlsx":
        return models_files.workbook(found, settings, day)
    return models_files.comma_separated(found)


def paper(found: ModelsFound, settings: Settings, day: dt.date) -> str:
    """Write the page for the PDF renderer."""
    return models_report.paper(found, settings, day)


def screen(found: ModelsFound, settings: Settings, day: dt.date) -> str:
    """Write the page for the browser."""
    return models_report.screen(found, settings, day)
