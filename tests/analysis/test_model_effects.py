"""The mixed model against the same model written out in full, against another library, and at its edges."""

import itertools
import math
import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.model_effects import against_average, design, rank_ranges, solved
from pipeline.analysis.rollup_cells import Cells

MakeCells = Callable[..., Cells]
MODELS_DIFFER, CUSTOMERS_DIFFER = 9.0, 16.0


def random_cells(make: MakeCells, seed: int, *, own: bool = True, sittings: int = 9, models: int = 6) -> Cells:
    """Make a ragged design: two to four cells a sitting, some clubs own, noise of every size."""
    generator = np.random.default_rng(seed)
    seats: list[int] = []
    which: list[int] = []
    for i in range(sittings):
        hit = generator.choice(models, size=generator.integers(2, 5), replace=False)
        seats += [i] * len(hit)
        which += sorted(hit.tolist())
    which[-1] = models  # a model with a single cell
    own_flags = [generator.random() < 0.3 and own for _ in seats]
    mean = 200 + 20 * generator.standard_normal(sittings)[seats] + 5 * generator.standard_normal(len(seats))
    return make(sitting=seats, model=which, mean=mean, noise=generator.uniform(2, 40, len(seats)), own=own_flags)


def in_full(cells: Cells, models_differ: float, customers_differ: float) -> tuple[float, Floats, Floats]:
    """Give criterion, effects and their covariance by generalised least squares with every covariance written out."""
    k = len(cells.mean)
    fixed = np.eye(int(cells.sitting.max()) + 1)[cells.sitting]
    if cells.own.any():
        fixed = np.column_stack([fixed, cells.own])
    of_model = np.eye(len(cells.models))[cells.model]
    covariance = np.diag(customers_differ + cells.noise) + models_differ * of_model @ of_model.T
    inverse = np.linalg.inv(covariance)
    information = fixed.T @ inverse @ fixed
    projected = inverse - inverse @ fixed @ np.linalg.inv(information) @ fixed.T @ inverse
    criterion = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1]
    criterion += cells.mean @ projected @ cells.mean + (k - fixed.shape[1]) * math.log(2 * math.pi)
    effects = models_differ * of_model.T @ projected @ cells.mean
    left = models_differ * np.eye(len(cells.models)) - models_differ**2 * of_model.T @ projected @ of_model
    return float(criterion), np.asarray(effects), np.asarray(left)


@pytest.mark.parametrize("own", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_the_equations_give_what_the_full_covariance_gives(cells: MakeCells, seed: int, own: bool) -> None:  # noqa: FBT001
    made = random_cells(cells, seed, own=own)
    of = design(made, np.arange(6))
    found = solved(of, MODELS_DIFFER, CUSTOMERS_DIFFER)
    criterion, effects, covariance = in_full(made, MODELS_DIFFER, CUSTOMERS_DIFFER)
    assert found.criterion == pytest.approx(criterion, abs=1e-8)
    assert found.effects == pytest.approx(effects[of.model_of], abs=1e-8)
    inverse = np.linalg.inv(found.factor @ found.factor.T)[: len(of.model_of), : len(of.model_of)]
    assert inverse == pytest.approx(covariance[np.ix_(of.model_of, of.model_of)], abs=1e-8)


def test_a_model_hit_once_needs_no_column_and_changes_nothing(cells: MakeCells) -> None:
    made = random_cells(cells, 5)
    without, with_it = design(made, np.arange(6)), design(made, np.arange(7))
    assert 6 not in without.model_of
    assert 6 in with_it.model_of
    short, long = (solved(of, MODELS_DIFFER, CUSTOMERS_DIFFER) for of in (without, with_it))
    assert short.criterion == pytest.approx(long.criterion, abs=1e-9)
    assert short.effects == pytest.approx(long.effects[:-1], abs=1e-9)


def test_a_model_hit_twice_needs_a_column_though_nobody_asks_for_it(cells: MakeCells) -> None:
    made = random_cells(cells, 6)
    made.model[0] = made.model[-1]
    found = solved(design(made, np.arange(6)), MODELS_DIFFER, CUSTOMERS_DIFFER)
    assert found.criterion == pytest.approx(in_full(made, MODELS_DIFFER, CUSTOMERS_DIFFER)[0], abs=1e-8)


def test_own_clubs_everywhere_or_nowhere_are_no_effect(cells: MakeCells) -> None:
    made = random_cells(cells, 2, own=False)
    all_own = replace(made, own=np.ones_like(made.own))
    for one in (made, all_own):
        found = solved(design(one, np.arange(6)), MODELS_DIFFER, CUSTOMERS_DIFFER)
        assert len(found.factor) == len(found.effects)
        assert found.criterion == pytest.approx(in_full(made, MODELS_DIFFER, CUSTOMERS_DIFFER)[0])


@pytest.mark.parametrize("seed", [1, 2])
def test_another_library_finds_the_same(cells: MakeCells, seed: int) -> None:
    """statsmodels' MixedLM on single shots: customers fixed, models and customer-and-model random.

    The criterion at its spreads must be its own to 1e-6, the effects to 1e-5 of a unit, and no spread nearby may be
    better by more than its own stopping rule leaves (1e-4).
    """
    import pandas as pd  # noqa: PLC0415 - a second of import
    from statsmodels.regression.mixed_linear_model import MixedLM  # noqa: PLC0415

    generator = np.random.default_rng(seed)
    pairs = [(i, j) for i, j in itertools.product(range(10), range(5)) if (i + j * (1 + seed)) % 3]
    sizes = generator.integers(2, 6, len(pairs))
    sitting, model = (np.array(index) for index in zip(*pairs, strict=True))
    effect = 6 * generator.standard_normal(5)[model] + 5 * generator.standard_normal(len(pairs))
    shots = [
        10 * generator.standard_normal(n) + 200 + 3 * i + e for n, i, e in zip(sizes, sitting, effect, strict=True)
    ]
    table = pd.DataFrame({
        "carry": np.concatenate(shots),
        "customer": np.repeat(sitting, sizes).astype(str),
        "model": np.repeat(model, sizes).astype(str),
        "cell": np.repeat(np.arange(len(pairs)), sizes).astype(str),
        "all": 1,
    })  # fmt: skip
    spreads = {"model": "0 + C(model)", "cell": "0 + C(cell)"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM.from_formula(
            "carry ~ 0 + C(customer)", groups="all", re_formula="0", vc_formula=spreads, data=table
        ).fit(reml=True, method="powell")
    variance = dict(zip(fit.model.exog_vc.names, fit.vcomp, strict=True))

    def criterion(models_differ: float, customers_differ: float, shot: float) -> tuple[float, Floats]:
        means, noise = [values.mean() for values in shots], shot / sizes
        found = solved(
            design(cells(sitting=sitting, model=model, mean=means, noise=noise), np.arange(5)),
            models_differ,
            customers_differ,
        )
        squares = sum(float(((values - values.mean()) ** 2).sum()) for values in shots)
        rest = ((sizes - 1) * math.log(2 * math.pi * shot) + np.log(sizes)).sum() + squares / shot
        return found.criterion + float(rest), found.effects

    at = (variance["model"], variance["cell"], float(fit.scale))
    value, effects = criterion(*at)
    assert value == pytest.approx(-2 * fit.llf, abs=1e-6)
    theirs = fit.random_effects[1]
    assert effects == pytest.approx([theirs[f"model[C(model)[{j}]]"] for j in range(5)], abs=1e-5)
    for changes in itertools.product((0.97, 1.0, 1.03), repeat=3):
        assert criterion(*(v * c for v, c in zip(at, changes, strict=True)))[0] >= value - 1e-4


def test_the_average_is_that_of_the_group_and_groups_stay_apart(cells: MakeCells) -> None:
    """Models 0, 1 and 2 meet, and so do 3 and 4; lifting the second group must not be seen."""
    seats = np.repeat(np.arange(24), 2)
    which = np.array([[0, 1], [1, 2], [0, 2], [3, 4]] * 6).ravel()
    mean = np.random.default_rng(3).normal(200, 8, 48) + 4 * which
    one = cells(sitting=seats, model=which, mean=mean, noise=np.full(48, 6.0))
    lifted = cells(sitting=seats, model=which, mean=mean + 50 * (which > 2), noise=np.full(48, 6.0))
    group = np.array([0, 0, 0, 1, 1])
    found, same = (against_average(made, np.arange(5), group) for made in (one, lifted))
    assert found.effect[:3].sum() == pytest.approx(0, abs=1e-9)
    assert found.effect[3:].sum() == pytest.approx(0, abs=1e-9)
    assert same.effect == pytest.approx(found.effect, abs=1e-6)
    assert found.quantile(0.5) == pytest.approx(found.effect, abs=1.0)
    assert (found.quantile(0.025) < found.effect).all()
    assert (found.effect < found.quantile(0.975)).all()
    assert found.covariance[:3, :3].sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    assert found.covariance[3:, 3:].sum(axis=0) == pytest.approx(np.zeros(2), abs=1e-9)
    assert np.diag(found.covariance) == pytest.approx(
        found.weights @ (found.spreads**2 + (found.means - found.effect) ** 2), rel=1e-6
    )


def test_models_that_differ_much_are_drawn_in_little_and_told_apart(cells: MakeCells) -> None:
    """Forty customers with all four models, 30 m apart, and a customer's fit of 3 m: the plain means must come out."""
    generator = np.random.default_rng(8)
    sitting, which = (index.ravel() for index in np.indices((40, 4)))
    mean = 200 + 10.0 * sitting + 30 * which + 3 * generator.standard_normal(160)
    found = against_average(
        cells(sitting=sitting, model=which, mean=mean, noise=np.full(160, 1.0)),
        np.arange(4),
        np.zeros(4, dtype=np.int64),
    )
    plain = mean.reshape(40, 4).mean(axis=0)
    assert found.effect == pytest.approx(plain - plain.mean(), abs=0.2)
    # two models of four against the average: (3² + 1) (1 - 1/4) / 40
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx(math.sqrt(10 * 0.75 / 40), rel=0.15)
    best, worst = rank_ranges(found.effect, found.covariance)
    assert best.tolist() == worst.tolist() == [4, 3, 2, 1]


def test_places_are_shared_where_nothing_is_settled() -> None:
    effect, wide = np.array([3.0, 0.0, -3.0]), 100 * np.eye(3)
    assert [places.tolist() for places in rank_ranges(effect, wide)] == [[1, 1, 1], [3, 3, 3]]
    # the first is surely before the last; each one's difference from the middle one spreads by 2, 1.96 of it is 3.9
    assert [places.tolist() for places in rank_ranges(effect, 2 * np.eye(3))] == [[1, 1, 2], [2, 3, 3]]
