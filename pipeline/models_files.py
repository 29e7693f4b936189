"""What was found of club models as tables: a workbook for people, CSV and Parquet for programs.

Every row has its counts and ranges. CSV and Parquet are in SI and the same for every studio; the workbook is in the
studio's units. The unit stands in a column's name.
"""

import csv
import datetime as dt
import io
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import polars as pl

from pipeline import models_tables, models_words
from pipeline.exports import safe_text
from pipeline.models_words import ModelsPage
from pipeline.rollup_records import GROUP_SEPARATOR, CategoryRollUp, ModelEffect, ModelRow, ModelsFound, OwnGains, Share
from pipeline.settings import Settings

_LONGEST_CELL = 32_000  # a workbook's cell holds 32,767 characters
_WIDEST = 60
Row = dict[str, Any]
Length = Callable[[float], float]
_QUANTILES = (10, 25, 50, 75, 90)
_TEXTS = ("clubs", "loft", "shaft", "month", "studio", "model", "verdict", "first_month", "last_month", "caveats")
_NO_MODEL = ModelRow(ModelEffect("", 0, 0.0, 0.0, 0.0, ""), 0, 0, 0, 0, 0, "", "", None, (), ())


# --- rows ---------------------------------------------------------------------------------------------------------
class _Rows:
    """Makes the rows of all tables in one unit of length."""

    def __init__(self, found: ModelsFound, length: Length, unit: str) -> None:
        self.found, self.length, self.unit = found, length, unit

    def _lengths(self, **metres: float | None) -> Row:
        """Give lengths in the unit, with the unit in their names."""
        return {f"{name}_{self.unit}": None if m is None else _finite(self.length(m)) for name, m in metres.items()}

    def _clubs(self, category: CategoryRollUp) -> Row:
        clubs, *parts = category.category.split(GROUP_SEPARATOR)
        return {"clubs": clubs, **dict(zip(self.found.by, parts, strict=True))}

    def _effect(self, effect: ModelEffect | None) -> Row:
        low, middle, high = (effect.low, effect.effect, effect.high) if effect else (None, None, None)
        return self._lengths(effect=middle, effect_low=low, effect_high=high)

    def _gains(self, found: OwnGains | None) -> Row:
        low, middle, high = (found.low, found.mean, found.high) if found else (None, None, None)
        points = found.quantiles if found else [None] * len(_QUANTILES)
        named = {f"gain_p{percent}": point for percent, point in zip(_QUANTILES, points, strict=True)}
        return {
            "gain_customers": found.customers if found else 0,
            **self._lengths(gain=middle, gain_low=low, gain_high=high, **named),
            **_share("improved", found.improved if found else None),
            **_share("likely_longer", found.likely_longer if found else None),
            "likely_longer_beyond_chance": found.lift if found else None,
        }

    def models(self) -> Iterator[Row]:
        """Give a row for each model that is shown."""
        for category in self.found.categories:
            for row in category.models:
                yield {**self._clubs(category), **self.model(category.category, row)}

    def model(self, category: str, row: ModelRow) -> Row:
        """Give all that is said of a model, but the category."""
        effect, carry = row.effect, self.found.carries.get((category, row.effect.model))
        p10, p50, p90 = (carry.p10_m, carry.p50_m, carry.p90_m) if carry else (None, None, None)
        return {
            "group": row.component + 1,
            "model": effect.model,
            "customers_compared": effect.compared,
            "customers": row.customers,
            "customers_own_club": row.own_customers,
            "shots": row.shots,
            **self._effect(effect),
            "verdict": effect.verdict,
            "best_place": effect.rank_low,
            "worst_place": effect.rank_high,
            "models_with_a_place": effect.ranked,
            **self._gains(row.gains),
            "tested_shots": carry.n if carry else 0,
            **self._lengths(carry_p10=p10, carry_p50=p50, carry_p90=p90),
            "studios": row.studios,
            "first_month": row.first_period,
            "last_month": row.last_period,
            "caveats": " ".join(row.caveats),
        }

    def withheld(self) -> Iterator[Row]:
        """Give a row for each model that is not shown; those of one customer each together, without a name."""
        for category in self.found.categories:
            for one in models_tables.ordered_withheld(category.withheld):
                counts = {"models": one.models, "customers": one.customers, "customers_compared": one.compared}
                yield {
                    **self._clubs(category),
                    "model": one.model or None,
                    **counts,
                    "shots": one.shots,
                    "reason": one.reason,
                }

    def bands(self) -> Iterator[Row]:
        """Give a row for each model shown in a speed band."""
        for category in self.found.categories:
            for band in category.bands:
                ends = {"from_mps": _finite(band.from_mps), "below_mps": _finite(band.below_mps)}
                for effect in band.models:
                    names = {"band": band.name, **ends, "band_customers": band.customers, "model": effect.model}
                    judged = {"customers_compared": effect.compared, **self._effect(effect), "verdict": effect.verdict}
                    yield {**self._clubs(category), **names, **judged}

    def bays(self) -> Iterator[Row]:
        """Give a row for each watch over a bay."""
        for one in models_tables.ordered_watches(self.found.watches):
            watch, alarm = one.watch, one.watch.alarm
            yield {
                "studio": one.studio, "bay": one.bay, "clubs": one.job, "quantity": watch.quantity,
                "state": watch.state, "visits": watch.used, "visits_without_a_value": watch.missing,
                "reference_mean": _finite(watch.reference_mean), "reference_sd": _finite(watch.reference_sd),
                "since": alarm.since_day if alarm else None, "direction": alarm.direction if alarm else None,
                "size": alarm.size if alarm else None, "visits_since": alarm.sessions if alarm else None,
                "customers_since": alarm.golfers if alarm else None,
                "false_alarm_in_100": watch.false_alarm_in_100,
            }  # fmt: skip


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _share(name: str, found: Share | None) -> Row:
    if found is None:
        return dict.fromkeys((name, f"{name}_of", f"{name}_share", f"{name}_low", f"{name}_high"))
    ends = {f"{name}_share": found.share, f"{name}_low": found.low, f"{name}_high": found.high}
    return {name: found.count, f"{name}_of": found.of, **ends}


# --- files for programs -------------------------------------------------------------------------------------------
def frame(found: ModelsFound) -> pl.DataFrame:
    """Give the models that are shown as a table in SI; its columns are the same whatever was found."""
    rows = _Rows(found, float, "m")
    names = ["clubs", *found.by, *rows.model("", _NO_MODEL)]
    floats = ("_m", "_share", "_low", "_high", "_chance")
    types = {name: pl.String if name in _TEXTS else pl.Float64 if name.endswith(floats) else pl.Int64 for name in names}
    return pl.DataFrame(list(rows.models()), schema=types)


def parquet(found: ModelsFound) -> bytes:
    """Write the models that are shown as Parquet."""
    out = io.BytesIO()
    frame(found).write_parquet(out, compression="zstd")
    return out.getvalue()


def comma_separated(found: ModelsFound) -> bytes:
    """Write the models that are shown as CSV that a spreadsheet program takes for no formula."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    table = frame(found)
    writer.writerow(table.columns)
    for row in table.iter_rows():
        writer.writerow(_written(value) for value in row)
    return ("\ufeff" + out.getvalue()).encode()


def _written(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    return safe_text(value) if isinstance(value, str) else str(value)


# --- the workbook -------------------------------------------------------------------------------------------------
def workbook(found: ModelsFound, settings: Settings, day: dt.date) -> bytes:
    """Write all tables as a workbook in the studio's units; texts stay texts, whatever they look like."""
    import xlsxwriter  # noqa: PLC0415 - needed for this file only

    page = models_words.page_of(found, settings, day)
    rows = _Rows(found, lambda metres: page.shown.convert(metres, "length"), page.shown.unit("length"))
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        book.set_properties({"title": models_words.title(page), "created": dt.datetime.combine(day, dt.time())})
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        for name in ("models", "withheld", "bands", "bays"):
            _fill(book.add_worksheet(name), list(getattr(rows, name)()), bold)
        about = book.add_worksheet("about")
        about.set_column(0, 0, 120, book.add_format({"text_wrap": True}))
        for place, line in enumerate(_about(page)):
            about.write_string(place, 0, line)
    return out.getvalue()


def _fill(sheet: Any, rows: Sequence[Mapping[str, Any]], bold: Any) -> None:  # noqa: ANN401 - the library's sheet
    """Write a table with its heads, wide enough to be read; texts by write_string, which makes nothing else of them."""
    heads = list(rows[0]) if rows else []
    for column, head in enumerate(heads):
        sheet.write_string(0, column, head, bold)
        texts = [str(row[head]) for row in rows if isinstance(row[head], str)]
        sheet.set_column(column, column, min(max([12, len(head) // 2, *map(len, texts)]), _WIDEST))
    for place, row in enumerate(rows, 1):
        for column, value in enumerate(row.values()):
            if isinstance(value, str):
                sheet.write_string(place, column, value[:_LONGEST_CELL])
            elif value is not None:
                sheet.write_number(place, column, value)
    sheet.freeze_panes(1, 0)
    if rows:
        sheet.autofilter(0, 0, len(rows), len(heads) - 1)


def _about(page: ModelsPage) -> list[str]:
    """Say what the tables are and what must be kept in mind, as the page does."""
    head = [page.settings.name, models_words.title(page), models_words.lead(page), models_words.under(page)]
    said = [models_words.unknown(page), *models_words.how(page)]
    return [line for line in (*head, *said) if line]
