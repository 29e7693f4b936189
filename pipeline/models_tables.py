"""The tables of the manager's page: rows of words and figures, in the studio's units."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pipeline import bay_words, models_words
from pipeline.models_words import ModelsPage
from pipeline.rollup_records import BayWatch, CategoryRollUp, ModelEffect, ModelRow, OwnGains, Withheld

NONE = "–"
_MIDDLE, _LOW, _HIGH = 2, 0, 4  # of the quantiles 10, 25, 50, 75, 90 %


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell as it is printed, and what a column is sorted by: a number, or its text."""

    text: str
    sort: float | str = ""


def _number(value: float, text: str) -> Cell:
    return Cell(text, round(value, 6))


def _text(text: str) -> Cell:
    return Cell(text, text.casefold())


def _nothing() -> Cell:
    return Cell(NONE, "")


def _head(page: ModelsPage, name: str, *, number: bool = True) -> dict[str, Any]:
    unit = page.shown.unit("length")
    return {
        "text": page.words.breakable(page.words.say(f"models.table.{name}", length=unit)),
        "n": number,
        "note": "",
        "sorted": False,
    }


def _table(page: ModelsPage, caption: str, heads: Sequence[dict[str, Any]], rows: Sequence[Any]) -> dict[str, Any]:
    unit = page.shown.unit("length")
    return {
        "caption": page.words.say(f"models.table.{caption}", length=unit),
        "heads": [_head(page, "model", number=False), *heads],
        "rows": rows,
    }


def _row(page: ModelsPage, model: str, *cells: Cell) -> dict[str, Any]:
    return {"label": _text(page.label(model)), "cells": cells}


# --- a group of models --------------------------------------------------------------------------------------------
def effects(page: ModelsPage, rows: Sequence[ModelRow]) -> dict[str, Any]:
    """List models against their average, the longest first."""
    number = ("compared", "shots", "effect")
    words = ("verdict", "place", "mind")
    heads = [*(_head(page, name) for name in number), *(_head(page, name, number=False) for name in words)]
    heads[2]["sorted"] = True  # the longest first
    return _table(page, "effect_caption", heads, [_effect_row(page, row) for row in rows])


def _effect_row(page: ModelsPage, row: ModelRow) -> dict[str, Any]:
    effect = row.effect
    return _row(
        page,
        effect.model,
        _number(effect.compared, str(effect.compared)),
        _number(row.shots, str(row.shots)),
        _number(effect.effect, models_words.span(page, effect.effect, effect.low, effect.high)),
        _text(models_words.verdict(page, effect)),
        Cell(models_words.place(page, effect), effect.rank_low or ""),
        _text(models_words.minds(page, row)),
    )


def gains(page: ModelsPage, rows: Sequence[ModelRow]) -> dict[str, Any] | None:
    """Say of each model what it brought over the own clubs; None where too few hit theirs beside any."""
    told = [(row, row.gains) for row in rows if row.gains]
    heads = [_head(page, name) for name in ("with_own", "gain", "quantiles", "improved", "likely")]
    return _table(page, "gains_caption", heads, [_gain_row(page, row, g) for row, g in told]) if told else None


def _gain_row(page: ModelsPage, row: ModelRow, found: OwnGains) -> dict[str, Any]:
    low, middle, high = (models_words.signed(page, found.quantiles[at], 0) for at in (_LOW, _MIDDLE, _HIGH))
    chance = found.likely_longer.share - found.lift
    ends = (page.words.signed(100 * (value - chance)) for value in (found.likely_longer.low, found.likely_longer.high))
    share = dict(zip(("low", "high"), ends, strict=True), share=page.words.signed(100 * found.lift))
    return _row(
        page,
        row.effect.model,
        _number(found.customers, str(found.customers)),
        _number(found.mean, models_words.span(page, found.mean, found.low, found.high)),
        _number(found.quantiles[_MIDDLE], page.words.say("models.cell.quantiles", low=low, middle=middle, high=high)),
        _number(found.improved.share, models_words.count_of(page, found.improved)),
        _number(found.lift, page.words.say("models.cell.share", **share)),
    )


def carries(page: ModelsPage, category: CategoryRollUp, rows: Sequence[ModelRow]) -> dict[str, Any]:
    """Say how far each model was hit in testing, and when."""
    heads = [_head(page, name) for name in ("customers", "tested_shots", "median", "middle_eighty")]
    heads.append(_head(page, "months", number=False))
    return _table(page, "carry_caption", heads, [_carry_row(page, category.category, row) for row in rows])


def _carry_row(page: ModelsPage, category: str, row: ModelRow) -> dict[str, Any]:
    found = page.found.carries.get((category, row.effect.model))
    cells = [_nothing()] * 3
    if found:
        low, middle, high = (page.shown.plain(value, "carry_m") for value in (found.p10_m, found.p50_m, found.p90_m))
        between = page.words.say("models.cell.between", low=low, high=high)
        cells = [_number(found.n, str(found.n)), _number(found.p50_m, middle), _number(found.p10_m, between)]
    hit = Cell(models_words.months(page, row.first_period, row.last_period), row.first_period)
    return _row(page, row.effect.model, _number(row.customers, str(row.customers)), *cells, hit)


def parts(page: ModelsPage, rows: Sequence[ModelRow]) -> dict[str, Any] | None:
    """Break models down by loft and by shaft, where a model was hit with several; None where none was."""
    heads = [_head(page, "kind", number=False), *(_head(page, name) for name in ("customers", "shots", "over_own"))]
    found = [
        _row(
            page,
            row.effect.model,
            _text(models_words.part_name(page, part)),
            _number(part.customers, str(part.customers)),
            _number(part.shots, str(part.shots)),
            _number(part.gains.mean, models_words.span(page, part.gains.mean, part.gains.low, part.gains.high))
            if part.gains
            else _nothing(),
        )
        for row in rows
        for part in row.parts
        if sum(other.kind == part.kind for other in row.parts) > 1
    ]
    return _table(page, "parts_caption", heads, found) if found else None


# --- a whole category ---------------------------------------------------------------------------------------------
def bands(page: ModelsPage, category: CategoryRollUp, rows: Sequence[ModelRow]) -> dict[str, Any] | None:
    """Set each model's effects among slow, medium and fast customers side by side; None where there are no bands."""
    by_model: dict[str, dict[str, ModelEffect]] = {}
    for band in category.bands:
        for effect in band.models:
            by_model.setdefault(effect.model, {})[band.name] = effect
    order = [row.effect.model for row in rows if row.effect.model in by_model]
    if not order:
        return None
    heads = []
    for band in category.bands:
        note = page.words.say("models.band.customers", n=band.customers)
        heads.append({"text": models_words.band_name(page, band), "n": True, "note": note, "sorted": False})
    lines = [
        _row(page, model, *(_band_cell(page, by_model[model].get(band.name)) for band in category.bands))
        for model in order
    ]
    return _table(page, "bands_caption", heads, lines)


def _band_cell(page: ModelsPage, effect: ModelEffect | None) -> Cell:
    if effect is None:
        return _nothing()
    return _number(effect.effect, models_words.span(page, effect.effect, effect.low, effect.high))


def withheld(page: ModelsPage, category: CategoryRollUp) -> dict[str, Any] | None:
    """List the models of which nothing is said, with the reason; those of one customer each stand together, unnamed."""
    heads = [_head(page, name) for name in ("customers", "compared_of_these", "shots")]
    heads.append(_head(page, "reason", number=False))
    rows = [_withheld_row(page, one) for one in ordered_withheld(category.withheld)]
    return _table(page, "withheld_caption", heads, rows) if rows else None


def ordered_withheld(withheld: Iterable[Withheld]) -> list[Withheld]:
    """Put those that most customers hit first, and the ones without a name last."""
    return sorted(withheld, key=lambda one: (not one.model, -one.customers, -one.shots, one.model))


def _withheld_row(page: ModelsPage, one: Withheld) -> dict[str, Any]:
    label = page.label(one.model) if one.model else page.words.say("models.withheld.single", n=one.models)
    numbers = (_number(value, str(value)) for value in (one.customers, one.compared, one.shots))
    return {"label": _text(label), "cells": [*numbers, _text(models_words.why_withheld(page, one))]}


# --- bays ---------------------------------------------------------------------------------------------------------
def ordered_watches(watches: Iterable[BayWatch]) -> list[BayWatch]:
    """Put the watches that have raised an alarm first, then the steady ones, then those still learning."""
    order = {"drifting": 0, "steady": 1, "learning": 2}
    return sorted(watches, key=lambda one: (order[one.watch.state], one.studio, one.bay, one.job, one.watch.quantity))


def bays(page: ModelsPage) -> list[dict[str, str]]:
    """Say of each watch what it says, by the clubs it goes by, and by the studio where there are several."""
    several = len({one.studio for one in page.found.watches}) > 1
    return [
        {
            "clubs": models_words.job(page, one.job),
            "studio": models_words.studio(page, one.studio) if several else "",
            "said": bay_words.sentence(page.words, replace(one, bay=models_words.one_line(one.bay))),
        }
        for one in ordered_watches(page.found.watches)
    ]
