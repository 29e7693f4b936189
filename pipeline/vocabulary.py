"""The report's words by language (schemas/vocabulary/<language>.toml)."""

import datetime as dt
import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any

from pipeline.resources import folder


@dataclass(frozen=True)
class Words:
    """The words of one language; say("answer.same", …) fills a sentence."""

    language: str
    tree: dict[str, Any]

    def get(self, key: str) -> Any:  # noqa: ANN401 - text, or a list of month names
        """Give the entry at a dotted key; a missing one is a fault of ours and raises KeyError."""
        place: Any = self.tree
        for part in key.split("."):
            place = place[part]
        return place

    def say(self, key: str, /, **values: object) -> str:
        """Fill the sentence at a dotted key."""
        return str(self.get(key)).format_map(values)

    def day(self, date: dt.date) -> str:
        """Write a date."""
        month = self.get("document.months")[date.month - 1]
        return self.say("document.date", day=date.day, month=month, year=date.year)


@cache
def words(language: str) -> Words:
    """Load a language."""
    path = folder("schemas") / "vocabulary" / f"{language}.toml"
    return Words(language, tomllib.loads(path.read_text(encoding="utf-8")))


def languages() -> list[str]:
    """Name the languages there are."""
    return sorted(path.stem for path in (folder("schemas") / "vocabulary").glob("*.toml"))
