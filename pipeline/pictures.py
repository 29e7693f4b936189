"""From a page to the report's pictures: what each shows, in the studio's units, with the sentence it speaks."""

from collections.abc import Mapping, Sequence
from dataclasses import fields

from markupsafe import Markup

from pipeline import ball_charts, chart_parts, charts, flight_charts, lever_words
from pipeline.judgements import BagClub, Gap
from pipeline.lever_records import Gain, LeverStory
from pipeline.records import Ellipse, SetResult
from pipeline.room_records import LaunchWindow
from pipeline.shown import NBSP, Shown
from pipeline.wording import Page

_OVERLAID = 2  # more outlines than this in one picture cover each other


def chart_words(shown: Shown) -> chart_parts.Words:
    """Give the words that stand in pictures, in the studio's units."""
    words = shown.words
    long = {name: words.get(f"units.{shown.system}.{name}") for name in ("length_long", "height_long")}
    texts = [field.name for field in fields(chart_parts.Words) if field.name not in ("number", "signed")]
    said = {name: words.say(f"picture.{name}", **long) for name in texts}
    return chart_parts.Words(words.number, words.signed, **said)


def _length(page: Page, *values: float) -> tuple[float, ...]:
    return tuple(page.shown.convert(value, "length") for value in values)


def _spoken(page: Page, heading: str, lines: Sequence[str]) -> str:
    """Give the sentence a picture speaks: its question, then a line with figures for everything in it."""
    return " ".join([page.words.get(heading), *lines])


def _said(page: Page, letter: str, label: str, *figures: str) -> str:
    return page.words.say("picture.said", letter=letter, label=label, figures=page.words.listed(figures))


def _told(page: Page, name: str, *figures: str) -> str:
    return page.words.say("picture.told", name=name, figures=page.words.listed(figure for figure in figures if figure))


# --- balls --------------------------------------------------------------------------------------------------------
def _balls(page: Page, result: SetResult) -> tuple[tuple[float, float], ...]:
    """Give (carry, side) of the counted balls of a set."""
    shown = page.shown
    return tuple(
        (shown.convert(s.used["carry_m"], "length"), shown.convert(s.used["offline_m"], "length"))
        for s in page.fitting.shots
        if s.set_index == result.set.index
        and s.fate.fate in ("counted", "asked")
        and {"carry_m", "offline_m"} <= s.used.keys()
    )


def _oval(page: Page, ellipse: Ellipse | None) -> ball_charts.Oval | None:
    if ellipse is None:
        return None
    along, across, long, short = _length(
        page, ellipse.carry_m, ellipse.offline_m, ellipse.long_axis_m, ellipse.short_axis_m
    )
    return ball_charts.Oval((along, across), long, short, ellipse.angle_rad)


def _landing(page: Page) -> tuple[str, bool] | None:
    """Draw the landing plan, together up to two sets, else side by side; gives the svg and whether it is wide."""
    sets, spoken = [], []
    for result in page.fitting.sets:
        balls = _balls(page, result)
        if not balls or not result.averages.keys() >= {"carry_m", "offline_m"}:
            continue
        middle = sum(b[0] for b in balls) / len(balls), sum(b[1] for b in balls) / len(balls)
        letter, name = result.set.letter, page.label(result)
        oval = _oval(page, result.ellipse)
        sets.append(ball_charts.LandingSet(result.set.index, letter, name, balls, middle, oval))
        carry, side = result.typical("carry_m"), result.typical("offline_m")
        spoken.append(_said(page, letter, name, page.shown.full(carry, "carry_m"), page.shown.side(side)))
    if not sets:
        return None
    title = _spoken(page, "headings.where", spoken)
    if len(sets) <= _OVERLAID:
        return ball_charts.landing_plan(sets, chart_words(page.shown), title), False
    one_kind = len({r.set.build.category for r in page.fitting.sets}) == 1
    return ball_charts.landing_panels(sets, chart_words(page.shown), title, same_ground=one_kind), True


def _every_shot(page: Page) -> str | None:
    rows, spoken = [], []
    for result in page.fitting.sets:
        mine = [s for s in page.fitting.shots if s.set_index == result.set.index and "carry_m" in s.used]
        carries = [(page.shown.convert(s.used["carry_m"], "length"), s) for s in mine]
        counted = tuple(carry for carry, s in carries if s.fate.fate in ("counted", "asked"))
        aside = tuple((carry, s.number) for carry, s in carries if s.fate.fate not in ("counted", "asked"))
        if mine:
            letter, name = result.set.letter, page.label(result)
            rows.append(ball_charts.StripRow(result.set.index, letter, name, counted, aside))
            amounts = page.words.say("picture.amounts", counted=len(counted), aside=len(aside))
            spoken.append(_said(page, letter, name, amounts))
    if not rows:
        return None
    return ball_charts.every_shot(rows, chart_words(page.shown), _spoken(page, "headings.count", spoken))


# --- how sure -----------------------------------------------------------------------------------------------------
def _span(page: Page, low: float, high: float) -> str:
    return page.words.say("figures.span", low=page.words.signed(low), high=page.words.signed(high))


def _gain(page: Page, middle: float) -> str:
    return f"{page.words.signed(middle)}{NBSP}{page.shown.unit('length')}"


def _differences(page: Page) -> str | None:
    rows = []
    for c in page.fitting.comparisons:
        result = page.fitting.sets[c.build]
        middle, low, high, half_low, half_high = _length(page, c.difference, c.low, c.high, c.half_low, c.half_high)
        text = _gain(page, middle), _span(page, low, high)
        name, ends = page.label(result), ((low, high), (half_low, half_high))
        rows.append(charts.DifferenceRow(c.build, result.set.letter, name, middle, *ends, *text))
    if not rows:
        return None
    spoken = [_said(page, r.letter, r.label, r.text_middle, r.text_range) for r in rows]
    return charts.differences(rows, chart_words(page.shown), _spoken(page, "headings.which", spoken))


def _levers(page: Page) -> str | None:
    """Draw what each lever brought in carry."""
    told = lever_words.story(page)
    if told is None:
        return None
    rows = [_lever_row(page, told, gain, is_sum=False) for gain in lever_words.shown_levers(told, told.carry)]
    if told.carry.modelled:
        rows.append(_lever_row(page, told, told.carry.modelled, is_sum=True))
    if told.carry.measured_m is not None:
        [middle] = _length(page, told.carry.measured_m)
        text = _gain(page, middle)
        rows.append(charts.LeverRow(page.words.get("lever.measured"), middle, None, True, text, ""))
    spoken = [_told(page, r.label, r.text_middle, r.text_range) for r in rows]
    return charts.levers(rows, told.build, chart_words(page.shown), _spoken(page, "headings.levers", spoken))


def _lever_row(page: Page, told: LeverStory, gain: Gain, *, is_sum: bool) -> charts.LeverRow:
    middle, low, high = _length(page, gain.gain_m, gain.low_m, gain.high_m)
    text = _gain(page, middle), _span(page, low, high)
    return charts.LeverRow(lever_words.brought_name(page, gain.lever, told), middle, (low, high), is_sum, *text)


def _bag(page: Page) -> str | None:
    bag = page.fitting.judged.bag
    if bag is None:
        return None
    rows = [
        _club_row(page, club, gap) for club, gap in zip(bag.clubs, (*bag.gaps, *[None] * len(bag.clubs)), strict=False)
    ]
    spoken = []
    for row in rows:
        figures = row.text_middle, row.text_range, *([row.step.text] if row.step else [])
        spoken.append(_said(page, row.letter, row.label, *figures))
    return charts.bag(rows, chart_words(page.shown), _spoken(page, "headings.bag", spoken))


def _club_row(page: Page, club: BagClub, gap: Gap | None) -> charts.ClubRow:
    result, unit = page.fitting.sets[club.set_index], page.shown.unit("length")
    middle, low, high = _length(page, club.carry_m, club.low, club.high)
    plain = [page.shown.plain(value, "carry_m") for value in (club.carry_m, club.low, club.high)]
    text = f"{plain[0]}{NBSP}{unit}", page.words.say("figures.span", low=plain[1], high=plain[2])
    step = None
    if gap:
        looks = page.words.get(f"bag.{gap.looks}" if gap.settled else "picture.open_step")
        said = page.words.say("picture.step", step=page.shown.full(gap.gap_m, "carry_m"), looks=looks)
        step = charts.ClubStep(said, gap.settled and gap.looks != "even")
    return charts.ClubRow(result.set.index, result.set.letter, page.label(result), middle, (low, high), *text, step)


# --- flight and launch --------------------------------------------------------------------------------------------
def _flights(page: Page) -> str | None:
    curves, spoken = [], []
    for result in page.fitting.sets:
        if result.flight is None:
            continue
        pairs = zip(result.flight.forward_m, result.flight.height_m, strict=True)
        points = tuple((page.shown.convert(x, "length"), page.shown.convert(z, "length")) for x, z in pairs)
        curves.append(flight_charts.FlightCurve(result.set.index, result.set.letter, points))
        apex = [page.shown.full(result.typical("apex_m"), "apex_m")] if "apex_m" in result.averages else []
        apex += [page.shown.full(result.typical("carry_m"), "carry_m")] if "carry_m" in result.averages else []
        spoken.append(_said(page, result.set.letter, page.label(result), *apex))
    if not curves:
        return None
    heights = page.shown.stored_step("length") / page.shown.stored_step("height")
    return flight_charts.flights(curves, chart_words(page.shown), _spoken(page, "headings.fly", spoken), heights)


def _window(page: Page) -> str | None:
    """Draw the launch windows of the set the outlook is told of, and where it starts now."""
    found = lever_words.outlook(page)
    both = (("carry", found.window.by_carry), ("total", found.window.by_total)) if found and found.window else ()
    boxes = [_box(page, key, window) for key, window in both if window]
    if found is None or not boxes:
        return None
    place = _launch_place(page, page.fitting.sets[found.set_index])
    spoken = [_told(page, *said) for said in (*(box.said for box in boxes), *([place.said] if place else []))]
    return flight_charts.launch_window(boxes, place, chart_words(page.shown), _spoken(page, "headings.window", spoken))


def _box(page: Page, key: str, window: LaunchWindow) -> flight_charts.LaunchBox:
    launch, spin = (window.launch_low_deg, window.launch_high_deg), (window.spin_low_rpm, window.spin_high_rpm)
    said = (
        page.words.get(f"picture.window_{key}"),
        _between(page, launch, "launch_angle_deg"),
        _between(page, spin, "spin_rate_rpm"),
    )
    best = window.best.launch_angle_deg, window.best.spin_rate_rpm
    return flight_charts.LaunchBox(page.words.get(f"picture.{key}"), said, launch, spin, best)


def _between(page: Page, ends: tuple[float, float], name: str) -> str:
    low, high = (page.shown.full(value, name) for value in ends)
    return page.words.say("figures.span", low=low, high=high)


def _launch_place(page: Page, result: SetResult) -> flight_charts.LaunchPlace | None:
    names = "launch_angle_deg", "spin_rate_rpm"
    if not result.averages.keys() >= set(names):
        return None
    launch, spin = (result.typical(name) for name in names)
    said = page.label(result), *(page.shown.full(result.typical(name), name) for name in names)
    return flight_charts.LaunchPlace(result.set.index, result.set.letter, (launch, spin), said)


def of_levers(page: Page) -> dict[str, Markup | None]:
    """Draw the comparison, what each lever brought, and the launch windows; None where there is nothing to show."""
    return _safe({"differences": _differences(page), "levers": _levers(page), "window": _window(page)})


def all_pictures(page: Page) -> dict[str, object]:
    """Draw every picture the visit has data for; None where there is nothing to show."""
    landing = _landing(page)
    drawn = {
        "landing": landing[0] if landing else None,
        "bag": _bag(page),
        "flights": _flights(page),
        "every_shot": _every_shot(page),
    }
    return {**of_levers(page), **_safe(drawn), "landing_is_wide": bool(landing and landing[1])}


def _safe(drawn: Mapping[str, str | None]) -> dict[str, Markup | None]:
    return {name: Markup(svg) if svg else None for name, svg in drawn.items()}  # noqa: S704 - svg.Drawing escapes all
