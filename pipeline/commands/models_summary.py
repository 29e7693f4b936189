"""The short summary `baywright models` shows on the console: what staff read there is English."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace

from pipeline import models_tables, models_words
from pipeline.models_words import ModelsPage
from pipeline.rollup_records import CategoryRollUp, ModelRow, ModelsFound
from pipeline.settings import Settings

_MOST_WITHHELD = 10  # named on the console; the files have them all
_NAME = 36  # letters of a model's name


def lines(found: ModelsFound, settings: Settings, day: dt.date) -> Iterator[str]:
    """Say what came of it, then each kind of clubs as a table, then the bays."""
    page = models_words.page_of(found, replace(settings, language="en"), day)
    yield f"{models_words.title(page)}. {models_words.lead(page)}"
    yield models_words.under(page)
    for category in found.categories:
        yield ""
        yield models_words.kind(page, category.category)
        yield from (f"  {line}" for line in _category(page, category))
    unknown = models_words.unknown(page)
    if unknown:
        yield ""
        yield unknown
    yield ""
    yield str(page.words.get("models.headings.bays"))
    said = [" ".join(part for part in (row["studio"], row["said"]) if part) for row in models_tables.bays(page)]
    yield from (f"  {line}" for line in said or [page.words.get("models.bays.none")])


def _category(page: ModelsPage, category: CategoryRollUp) -> Iterator[str]:
    if not category.models:
        yield from models_words.answer(page, category)
    groups: dict[int, list[ModelRow]] = {}
    for row in category.models:
        groups.setdefault(row.component, []).append(row)
    for number, rows in enumerate(groups.values(), 1):
        if len(groups) > 1:
            yield page.words.say("models.headings.group", number=number)
        yield from _table(page, rows)
    yield from _withheld(page, category)
    unnamed = models_words.unnamed(page, category)
    if unnamed:
        yield unnamed


def _table(page: ModelsPage, rows: Sequence[ModelRow]) -> Iterator[str]:
    """Write the models as a table, in columns as wide as their texts."""
    table = models_tables.effects(page, rows)
    texts = [[head["text"] for head in table["heads"]]]
    texts += [[row["label"].text[:_NAME], *(cell.text for cell in row["cells"])] for row in table["rows"]]
    numbers = [head["n"] for head in table["heads"]]
    widths = [max(len(row[column]) for row in texts) for column in range(len(numbers))]
    for row in texts:
        cells = zip(row, widths, numbers, strict=True)
        yield "  ".join(text.rjust(width) if number else text.ljust(width) for text, width, number in cells).rstrip()


def _withheld(page: ModelsPage, category: CategoryRollUp) -> Iterator[str]:
    """Say what is not shown and why; the first ones by name."""
    ordered = models_tables.ordered_withheld(category.withheld)
    if ordered:
        yield "Not shown:"
    for one in ordered[:_MOST_WITHHELD]:
        label = page.label(one.model) if one.model else page.words.say("models.withheld.single", n=one.models)
        yield f"  {label}: {models_words.why_withheld(page, one)} (customers: {one.customers}, shots: {one.shots})"
    if len(ordered) > _MOST_WITHHELD:
        yield f"  and {len(ordered) - _MOST_WITHHELD} more; --out FILE has them all"
