"""From a fitting to the report's pictures: what each shows, in the studio's units, with the sentence it speaks."""

from collections.abc import Callable, Sequence

from markupsafe import Markup

from pipeline import charts
from pipeline.records import Ellipse, Fitting, SetResult, ShotResult
from pipeline.shown import Shown
from pipeline.vocabulary import Words

_OVERLAID = 2  # more outlines than this in one picture cover each other
Label = Callable[[SetResult], str]


def _chart_words(shown: Shown, words: Words) -> charts.Words:
    long = words.get(f"units.{shown.system}.length_long")
    filled = {key: text.format(length_long=long) for key, text in words.get("picture").items()}
    return charts.Words(**filled)


def _balls(shots: Sequence[ShotResult], result: SetResult, shown: Shown) -> tuple[tuple[float, float], ...]:
    """Give (carry, side) of the counted balls of a set."""
    return tuple(
        (shown.convert(s.used["carry_m"], "length"), shown.convert(s.used["offline_m"], "length"))
        for s in shots
        if s.set_index == result.set.index
        and s.fate.fate in ("counted", "asked")
        and {"carry_m", "offline_m"} <= s.used.keys()
    )


def _oval(ellipse: Ellipse | None, shown: Shown) -> charts.Oval | None:
    if ellipse is None:
        return None
    centre = shown.convert(ellipse.carry_m, "length"), shown.convert(ellipse.offline_m, "length")
    long, short = shown.convert(ellipse.long_axis_m, "length"), shown.convert(ellipse.short_axis_m, "length")
    return charts.Oval(centre, long, short, ellipse.angle_rad)


def _landing(fitting: Fitting, shown: Shown, words: Words, label: Label) -> tuple[str, bool] | None:
    """Draw the landing plan, together up to two sets, else side by side; gives the svg and whether it is wide."""
    sets, spoken = [], []
    for result in fitting.sets:
        balls = _balls(fitting.shots, result, shown)
        if not balls:
            continue
        middle = sum(b[0] for b in balls) / len(balls), sum(b[1] for b in balls) / len(balls)
        name = label(result)
        sets.append(
            charts.LandingSet(result.set.index, result.set.letter, name, balls, middle, _oval(result.ellipse, shown))
        )
        carry, side = result.averages.get("carry_m"), result.averages.get("offline_m")
        if carry and side:
            spoken.append(f"{result.set.letter}, {name}: {shown.full(carry.mean, 'carry_m')}, {shown.side(side.mean)}.")
    if not sets:
        return None
    title = " ".join([words.get("headings.where"), *spoken])
    if len(sets) <= _OVERLAID:
        return charts.landing_plan(sets, _chart_words(shown, words), title), False
    one_kind = len({r.set.build.category for r in fitting.sets}) == 1
    return charts.landing_panels(sets, _chart_words(shown, words), title, same_ground=one_kind), True


def _differences(fitting: Fitting, shown: Shown, words: Words, label: Label) -> str | None:
    rows = []
    for c in fitting.comparisons:
        result = fitting.sets[c.build]
        middle, low, high, half_low, half_high = (
            shown.convert(v, "length") for v in (c.difference, c.low, c.high, c.half_low, c.half_high)
        )
        text = (
            f"{charts.signed(middle)} {shown.unit('length')}",
            words.say("figures.span", low=charts.signed(low), high=charts.signed(high)),
        )
        rows.append(
            charts.DifferenceRow(
                c.build, result.set.letter, label(result), middle, (low, high), (half_low, half_high), *text
            )
        )
    if not rows:
        return None
    spoken = [f"{r.letter}, {r.label}: {r.text_middle} ({r.text_range})." for r in rows]
    return charts.differences(rows, _chart_words(shown, words), " ".join([words.get("headings.which"), *spoken]))


def _flights(fitting: Fitting, shown: Shown, words: Words, label: Label) -> str | None:
    curves, spoken = [], []
    for result in fitting.sets:
        if result.flight is None:
            continue
        pairs = zip(result.flight.forward_m, result.flight.height_m, strict=True)
        points = tuple((shown.convert(x, "length"), shown.convert(z, "length")) for x, z in pairs)
        curves.append(charts.FlightCurve(result.set.index, result.set.letter, points))
        if "apex_m" in result.averages:
            spoken.append(
                f"{result.set.letter}, {label(result)}: {shown.full(result.averages['apex_m'].mean, 'apex_m')}."
            )
    if not curves:
        return None
    title = " ".join([words.get("headings.fly"), words.get("quantity.apex_m") + ":", *spoken])
    return charts.flights(curves, _chart_words(shown, words), title)


def _every_shot(fitting: Fitting, shown: Shown, words: Words, label: Label) -> str | None:
    rows = []
    for result in fitting.sets:
        mine = [s for s in fitting.shots if s.set_index == result.set.index and "carry_m" in s.used]
        counted = [shown.convert(s.used["carry_m"], "length") for s in mine if s.fate.fate in ("counted", "asked")]
        aside = [
            (shown.convert(s.used["carry_m"], "length"), s.number)
            for s in mine
            if s.fate.fate not in ("counted", "asked")
        ]
        if mine:
            rows.append(
                charts.StripRow(result.set.index, result.set.letter, label(result), tuple(counted), tuple(aside))
            )
    if not rows:
        return None
    spoken = [f"{r.letter}, {r.label}: {len(r.counted)} + {len(r.aside)}." for r in rows]
    return charts.every_shot(rows, _chart_words(shown, words), " ".join([words.get("headings.count"), *spoken]))


def all_pictures(fitting: Fitting, shown: Shown, words: Words, label: Label) -> dict[str, object]:
    """Draw every picture the visit has data for; None where there is nothing to show."""
    landing = _landing(fitting, shown, words, label)
    drawn = {
        "differences": _differences(fitting, shown, words, label),
        "landing": landing[0] if landing else None,
        "flights": _flights(fitting, shown, words, label),
        "every_shot": _every_shot(fitting, shown, words, label),
    }
    safe = {name: Markup(svg) if svg else None for name, svg in drawn.items()}  # noqa: S704 - svg.Drawing escapes all text
    return {**safe, "landing_is_wide": bool(landing and landing[1])}
