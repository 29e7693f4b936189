"""What a club label tells by itself: the kind of club, and whether it is the customer's own (schemas/clubs.toml)."""

import re
from functools import cache

from pipeline.resources import table


@cache
def _alone(words: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{'|'.join(re.escape(w) for w in sorted(words, key=len, reverse=True))})(?!\w)")


def category_of(label: str) -> str | None:
    """Give driver, wood, hybrid, iron or wedge if a trade word in the label says so, else None."""
    text = label.lower().strip()
    for category, row in table("clubs")["category"].items():
        if _alone(tuple(row["words"])).search(text):
            return str(category)
        if re.search(rf"(?<![\w.])(?:{row.get('pattern', '(?!)').strip('^$')})(?!\w)", text):
            return str(category)
    return None


def says_own(label: str) -> bool:
    """Tell whether a word in the label says that the club is the customer's own."""
    return _alone(tuple(table("clubs")["own"]["words"])).search(label.lower()) is not None
