"""Every entry of the check-value file of the mixed models, by one runner."""

import math
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from scipy import optimize

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.model_effects import design, solved
from pipeline.analysis.rollup_cells import Cells

FILE: Final = Path(__file__).parents[1] / "check_values" / "mixed_models.toml"
READINGS: Final = {"read", "second-hand", "from memory", "mathematics", "regression"}
ENTRIES: Final = tomllib.loads(FILE.read_text("utf-8"))["check"]

Found = dict[Any, float]
Groups = Sequence[Sequence[float]]
MakeCells = Callable[..., Cells]


def lowest(criterion: Callable[[Floats], float], start: Sequence[float]) -> tuple[float, Floats]:
    """Find the lowest criterion over some spreads: its value and the spreads."""

    def of_logs(logs: Floats, *_: object) -> float:
        return criterion(np.exp(logs))

    first = [math.log(spread) for spread in start]
    found = optimize.fmin(of_logs, first, xtol=1e-6, ftol=1e-9, full_output=True, disp=False)
    return float(found[1]), np.exp(found[0])


def within(groups: Groups, spread: float) -> float:
    """Give -2 log likelihood of the values about their group means: what the cell means do not hold."""
    sizes = [len(group) for group in groups]
    squares = sum(float(((np.array(group) - np.mean(group)) ** 2).sum()) for group in groups)
    return sum((n - 1) * math.log(2 * math.pi * spread**2) + math.log(n) for n in sizes) + squares / spread**2


def _cells(make: MakeCells, groups: Groups, spread: float, model: Sequence[int]) -> Cells:
    return make(
        sitting=[0] * len(groups),
        model=model,
        mean=[float(np.mean(group)) for group in groups],
        noise=[spread**2 / len(group) for group in groups],
    )


def _one_way(make: MakeCells, groups: Groups) -> Found:
    model = range(len(groups))

    def criterion(spreads: Floats) -> float:
        of = design(_cells(make, groups, spreads[1], model), np.arange(len(groups)))
        return solved(of, max(spreads[0], 1e-3) ** 2, 0.0).criterion + within(groups, spreads[1])

    spread = float(np.std([value for group in groups for value in group]))
    value, spreads = lowest(criterion, [spread / 2, spread])
    return {"criterion": value, "between_sd": spreads[0], "within_sd": spreads[1]}


def _effects(make: MakeCells, groups: Groups, between_sd: float, within_sd: float) -> Found:
    cells = _cells(make, groups, within_sd, range(len(groups)))
    return dict(enumerate(solved(design(cells, np.arange(len(groups))), between_sd**2, 0.0).effects.tolist()))


def _nested(make: MakeCells, groups: Sequence[Groups]) -> Found:
    flat = [part for group in groups for part in group]
    model = [j for j, group in enumerate(groups) for _ in group]

    def criterion(spreads: Floats) -> float:
        of = design(_cells(make, flat, spreads[2], model), np.arange(len(groups)))
        return solved(of, spreads[0] ** 2, spreads[1] ** 2).criterion + within(flat, spreads[2])

    value, spreads = lowest(criterion, [1.0, 1.0, 1.0])
    return {"criterion": value, **dict(zip(("between_sd", "fit_sd", "within_sd"), spreads, strict=True))}


def _crossed(make: MakeCells, columns: Groups) -> Found:
    table = np.array(columns)
    model, sitting = (index.ravel() for index in np.indices(table.shape))
    cells = make(sitting=sitting, model=model, mean=table.ravel(), noise=np.zeros(table.size))
    of = design(cells, np.arange(len(columns)))
    _, spreads = lowest(lambda pair: solved(of, pair[0] ** 2, pair[1] ** 2).criterion, [1.0, 1.0])
    return {"between_sd": spreads[0], "within_sd": spreads[1]}


FUNCTIONS: Final[dict[str, Callable[..., Found]]] = {
    "one_way": _one_way,
    "effects": _effects,
    "nested": _nested,
    "crossed": _crossed,
}


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: str(entry["id"]))
def test_value(entry: dict[str, Any], cells: MakeCells) -> None:
    assert entry["reading"] in READINGS
    assert entry["source"]
    assert entry["why_tolerance"]
    expected = entry["expected"] if isinstance(entry["expected"], dict) else dict(enumerate(entry["expected"]))
    found = FUNCTIONS[entry["function"]](cells, **entry["inputs"])
    assert found.keys() == expected.keys()
    for name, value in expected.items():
        tolerance = entry["tolerance"][name] if isinstance(entry["tolerance"], dict) else entry["tolerance"]
        assert abs(found[name] - value) <= tolerance, f"{name} is {found[name]!r}"
