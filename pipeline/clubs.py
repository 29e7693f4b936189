"""What a club label tells by itself: the kind of club, and whether it is the customer's own (schemas/clubs.toml)."""

import re
from functools import cache

from pipeline.resources import table


@cache
def _alone(words: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{'|'.join(re.escape(w) for w in sorted(words, key=len, reverse=True))})(?!\w)")


def category_of(label: str) -> str | None:
    """Give driver, wood, hybrid, iron or wedge if a trade word in the label says so, else None.

    Words go before patterns: in "driver, lie 57°" the driver is meant.
    """
    text, rows = label.lower().strip(), table("clubs")["category"]
    for category, row in rows.items():
        if _alone(tuple(row["words"])).search(text):
            return str(category)
    for category, row in rows.items():
        if "pattern" in row and re.search(rf"(?<![\w.])(?:{row['pattern']})(?!\w)", text):
            return str(category)
    return None


def says_own(label: str) -> bool:
    """Tell whether a word in the label says that the club is the customer's own."""
    return _alone(tuple(table("clubs")["own"]["words"])).search(label.lower()) is not None
