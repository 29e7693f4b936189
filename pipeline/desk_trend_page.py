"""A customer's trend as the desk shows it: a table with ranges, small line charts, a sentence on the last change."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pipeline import svg
from pipeline.desk_trend import QUANTITIES, Change, ClubOnDay, Figure, Trend
from pipeline.shown import NBSP, Shown, kind_of
from pipeline.svg import INK, QUIET, RULE, Drawing

NAMES = ("Carry", "Ball speed", "Club speed", "Strike efficiency")
CAUTION = (
    "The ranges allow for chance within each visit. Balls, bay, device and the day itself differ between visits, and "
    "no range knows of that: take a small difference for nothing."
)
_WHY_NOT = {
    "few shots": "too few shots counted on one of the two days",
    "uneven": "too many shots were set aside on one of the two days",
    "other source": "one day's distances were measured, the other's calculated",
    "other air": "the two reports give their distances for different air",
}
_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM, _SIZE = 320.0, 150.0, 44.0, 14.0, 24.0, 26.0, 10.0
_ALL_LABELLED = 4  # days whose labels fit side by side


@dataclass(frozen=True, slots=True)
class DayRow:
    """One visit in the table."""

    visit: str
    day: str
    label: str
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrendPart:
    """One kind of club on the page."""

    kind: str
    heads: tuple[str, ...]
    rows: tuple[DayRow, ...]
    charts: tuple[Markup, ...]
    sentence: str


def part(trend: Trend, shown: Shown) -> TrendPart:
    """Write one trend."""
    there = [(name, head) for name, head in zip(QUANTITIES, NAMES, strict=True) if _days_with(trend, name)]
    rows = [
        DayRow(day.visit, day.date.isoformat(), day.label, tuple(_cell(day, name, shown) for name, _ in there))
        for day in trend.days
    ]
    charts = tuple(_chart(trend, name, head, shown) for name, head in there if len(_days_with(trend, name)) > 1)
    sentence = _sentence(trend.change, shown) if trend.change else ""
    return TrendPart(trend.kind, tuple(head for _, head in there), tuple(rows), charts, sentence)


def _days_with(trend: Trend, name: str) -> list[ClubOnDay]:
    return [day for day in trend.days if name in day.figures]


def _cell(day: ClubOnDay, name: str, shown: Shown) -> str:
    figure = day.figures.get(name)
    if figure is None:
        return "–"
    notes = [" to ".join(shown.plain(bound, name) for bound in figure.bounds)] if figure.bounds else []
    notes += ["median"] if figure.is_median else []
    notes += ["calculated"] if figure.source.endswith("modelled") else []
    return shown.full(figure.middle, name) + (f" ({', '.join(notes)})" if notes else "")


# --- the last change --------------------------------------------------------------------------------------------------
def _sentence(change: Change, shown: Shown) -> str:
    """Say whether the last visit's carry differs from the one before."""
    gap, last, before = _more(change.difference_m, shown), change.last.date, change.before.date
    if change.why_not:
        return f"Carry on {last} was {gap} than on {before}. No more can be said: {_WHY_NOT[change.why_not]}."
    low, high = _more(change.low_m, shown), _more(change.high_m, shown)
    between = f"allowing for chance, the true difference lies between {low} and {high}"
    said = {
        "likely_real": f"Carry on {last} was {gap} than on {before}, more than chance",
        "same": f"Carry on {last} was as on {before}, as far as it matters",
        "not_settled": f"Whether carry on {last} differs from that on {before} is not settled",
    }[change.verdict]
    return f"{said}: {between}."


def _more(difference_m: float, shown: Shown) -> str:
    return f"{shown.distance(difference_m)} {'longer' if difference_m >= 0 else 'shorter'}"


# --- a chart ----------------------------------------------------------------------------------------------------------
def _chart(trend: Trend, name: str, head: str, shown: Shown) -> Markup:
    """Draw one quantity from visit to visit: middles joined, each with its range."""
    days = _days_with(trend, name)
    values = [_in_unit(day.figures[name], name, shown) for day in days]
    low, high = min(value[1] for value in values), max(value[2] for value in values)
    room = max(high - low, 1e-3 * abs(high), 1e-9) * 0.12
    unit = shown.unit(kind_of(name))
    made = Drawing(_WIDTH, _HEIGHT, _spoken(trend, name, head, days, shown))
    y_of = svg.scale(low - room, high + room, _HEIGHT - _BOTTOM, _TOP)
    made.text((0, 11), f"{head}{f', {unit}' if unit else ''}", _SIZE, INK, weight=600)
    for tick in svg.ticks(low - room, high + room, 3):
        made.line((_LEFT, y_of(tick)), (_WIDTH - _RIGHT, y_of(tick)), RULE)
        made.text((_LEFT - 6, y_of(tick) + 3.5), _tick(tick), _SIZE, QUIET, "end")
    inner = _WIDTH - _LEFT - _RIGHT
    places = [_LEFT + inner * (index + 0.5) / len(days) for index in range(len(days))]
    made.path([(x, y_of(value[0])) for x, value in zip(places, values, strict=True)], "#0B5FA5", 1.4)
    for index, (x, value) in enumerate(zip(places, values, strict=True)):
        made.line((x, y_of(value[1])), (x, y_of(value[2])), "#0B5FA5", 1.4)
        made.element("circle", cx=x, cy=y_of(value[0]), r=3.2, fill="#0B5FA5")
        if len(days) <= _ALL_LABELLED or index in (0, len(days) - 1):
            made.text((x, _HEIGHT - 8), days[index].date.isoformat(), _SIZE, QUIET, "middle")
    return Markup(made.finish())  # noqa: S704 - the drawing escapes what it is given


def _in_unit(figure: Figure, name: str, shown: Shown) -> tuple[float, float, float]:
    kind = kind_of(name)
    low, high = figure.bounds or (figure.middle, figure.middle)
    return shown.convert(figure.middle, kind), shown.convert(low, kind), shown.convert(high, kind)


def _tick(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".").replace("-", "−")


def _spoken(trend: Trend, name: str, head: str, days: Sequence[ClubOnDay], shown: Shown) -> str:
    told = ", ".join(f"{day.date}: {_cell(day, name, shown)}" for day in days)
    return f"{head}, {trend.kind}, from visit to visit. {told}.".replace(NBSP, " ")
