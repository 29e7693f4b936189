"""The report's words by language (schemas/vocabulary/<language>.toml)."""

import datetime as dt
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

from pipeline.resources import folder, names

_SOFT_HYPHEN = "\u00ad"


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

    def number(self, value: float, digits: int = 0) -> str:
        """Write a number with the language's decimal mark, a true minus and no sign on a rounded zero."""
        text = f"{abs(value):.{digits}f}"
        sign = "" if value >= 0 or float(text) == 0 else "−"
        return sign + text.replace(".", self.get("document.decimal_mark"))

    def signed(self, value: float, digits: int = 0) -> str:
        """Write a difference: a number with its sign, also where it is more."""
        text = self.number(value, digits)
        return "+" + text if value > 0 and float(f"{value:.{digits}f}") else text

    def listed(self, items: Iterable[str], mark: str = "comma") -> str:
        """Join items with the mark or word of that name in [list]."""
        return str(self.get(f"list.{mark}")).join(items)

    def inside(self, name: str) -> str:
        """Write a name of [quantity] as it stands inside a sentence."""
        return name.lower() if self.get("document.names_inside") == "lower case" else name

    def breakable(self, text: str) -> str:
        """Let the long words of document.breaks be divided, as the heading of a narrow column needs it."""
        for word in self.get("document.breaks"):
            text = text.replace(word.replace("|", ""), word.replace("|", _SOFT_HYPHEN))
        return text

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
    return names("vocabulary")


def own_names() -> dict[str, str]:
    """Give what each language is called by its readers, by its code."""
    return {code: str(words(code).get("document.language")) for code in languages()}
