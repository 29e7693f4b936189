"""The picture of one shot: legible at its extremes, true to scale, and the shot it is of stands out."""

import re

import pytest

from pipeline.shot_charts import ShotCurve, one_shot
from tests.report import svg_checks
from tests.report.chart_cases import chart_words

TITLE = "A spoken sentence with 12 and 3."


def curve(far: float, high: float, side: float | None) -> ShotCurve:
    """Draw a flight that rises and comes down, and goes to one side ever faster."""
    parts = [i / 20 for i in range(21)]
    above = () if side is None else tuple((far * t, side * t * t) for t in parts)
    return ShotCurve(tuple((far * t, 4 * high * t * (1 - t)) for t in parts), above)


CASES = {
    "a drive": (curve(250, 30, 12), [curve(240, 28, -9), curve(260, 33, 4)]),
    "alone": (curve(250, 30, 0), []),
    "a wedge": (curve(90, 30, 3), [curve(88, 31, -2)]),
    "straight up": (curve(20, 60, 1), []),
    "far aside": (curve(150, 20, 120), [curve(240, 30, 0)]),
    "topped": (curve(9, 0.05, 0.1), [curve(240, 30, 0)]),
    "nothing but topped": (curve(0.3, 0.001, 0), []),
    "no side": (curve(200, 25, None), [curve(210, 25, None), curve(190, 25, 8)]),
    "others without a side": (curve(200, 25, -20), [curve(210, 25, None)]),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("heights", [1.0, 3.0])
def test_it_bears_its_extremes(name: str, heights: float) -> None:
    shot, others = CASES[name]
    picture = svg_checks.read(one_shot(shot, others, chart_words(), TITLE, heights))
    assert svg_checks.faults(picture) == []
    assert (picture.title, picture.height < 330) == (TITLE, True)
    assert {c for c in picture.colours if svg_checks.contrast(c) < 3} == set()
    said = [text.words for text in picture.texts]
    assert ("left" in " ".join(said)) == (shot.from_above != ())


def test_up_along_and_aside_have_one_scale() -> None:
    drawn = one_shot(ShotCurve(((0, 0), (100, 50)), ((0, 0), (100, 20))), [], chart_words(), TITLE)
    ends = [tuple(map(float, place)) for place in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', drawn)]
    starts = [tuple(map(float, place)) for place in re.findall(r'd="M([\d.]+) ([\d.]+)L', drawn)]
    (along, up), (along_too, aside) = (
        (end[0] - start[0], end[1] - start[1]) for start, end in zip(starts, ends, strict=True)
    )
    assert along == along_too
    assert up == pytest.approx(-along / 2, abs=0.02)
    assert aside == pytest.approx(along / 5, abs=0.02)  # right of the line is below it


def test_the_scale_is_that_of_all_shots_with_the_club() -> None:
    shot = curve(100, 20, 5)
    alone, among = (one_shot(shot, others, chart_words(), TITLE) for others in ([], [curve(200, 30, 5)]))
    far = [float(re.findall(r'<circle cx="([\d.]+)"', drawn)[0]) - 26 for drawn in (alone, among)]
    assert far[1] == pytest.approx(far[0] / 2, rel=0.01)


def test_the_shot_itself_is_drawn_last_and_boldest() -> None:
    drawn = one_shot(curve(250, 30, 12), [curve(240, 28, -9)] * 3, chart_words(), TITLE)
    widths = [float(width) for width in re.findall(r'<path [^>]*stroke-width="([\d.]+)"', drawn)]
    assert widths == [0.6, 0.6, 0.6, 2.0] * 2
