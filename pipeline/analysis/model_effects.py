"""What each club model does, with every customer's own level taken out: a mixed model from the cells' means.

y = level of the sitting + own-club effect + b (model) + c (model with this customer) + shots,
b ~ N(0, vb), c ~ N(0, vc).
"""

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse, special

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.rollup_cells import Cells, Ints, sums

LEVEL = 0.95
_LOOKING, _GRID = 7, 10  # spreads of each kind on the grids that find the likely ones, and on the last one
# Spreads believed before any data, in spreads of a shot (own judgement: 3 yd, and up to 8 where a shot spreads by 12).
_MODELS_DIFFER = 1 / 4  # the likeliest spread of models, density s exp(-s²/2), s in these: 0 is not believed
CUSTOMERS_DIFFER = 2 / 3  # half-normal scale of what a model does for one customer and not for another
_SMALLEST, _LARGEST = 0.004, 4.0  # spreads looked at, in spreads of a shot
_NEGLIGIBLE = 1e-9  # share of the mixture
_UNLIKELY = 9.0  # log posterior below the highest from which a spread is no more looked at


@dataclass(frozen=True, slots=True)
class Design:
    """The cells and the columns of the equations.

    column: of each cell's model, -1 without one (k,); model_of: each column's model (j,). first, second: all pairs of
    cells with columns in one sitting, each with itself too; entry: the place of their columns in the matrix, row by
    row.
    """

    cells: Cells
    column: Ints
    model_of: Ints
    first: Ints
    second: Ints
    entry: Ints


def design(cells: Cells, chosen: Ints) -> Design:
    """Give a column to each chosen model and to each model with more than one cell.

    A model with a single cell (most customers' own clubs are of their own kind) needs none: its effect is one more part
    of that cell's luck, so its variance is added there. That is exact, and keeps the equations as small as the trade.
    """
    wanted = np.bincount(cells.model, minlength=len(cells.models)) > 1
    wanted[chosen] = True
    column = np.where(wanted, np.cumsum(wanted) - 1, -1)[cells.model]
    at = np.flatnonzero(column >= 0)
    ones = np.ones(len(at))
    seats = sparse.csr_array((ones, (np.arange(len(at)), cells.sitting[at])), shape=(len(at), len(cells.customer_of)))
    pairs = (seats @ seats.T).tocoo()
    first, second = at[pairs.row], at[pairs.col]
    return Design(
        cells, column, np.flatnonzero(wanted), first, second, column[first] * int(wanted.sum()) + column[second]
    )


@dataclass(frozen=True, slots=True)
class Solved:
    """The equations solved for one pair of variances.

    criterion: -2 log restricted likelihood of the cell means; effects: conditional means of the models' effects (j,);
    factor: lower Cholesky factor of the equations' matrix, whose inverse is the effects' covariance (own clubs last).
    """

    criterion: float
    effects: Floats
    factor: Floats


def solved(of: Design, models_differ: float, customers_differ: float) -> Solved:
    """Solve the mixed-model equations with the sittings' levels absorbed.

    models_differ and customers_differ: vb > 0 and vc >= 0, variances of the models' effects and of a model's effect
    between customers [unit²]. With w = 1/(vc + noise): A = diag(sum w) - W'(1/sum_j w)W over sittings + I/vb, r = sum
    of w (mean - level), b = A^-1 r; the own-club effect is one more column without I/vb, left out if none shows it. -2
    log REML = sum of -log w, log W_i, J log vb, log det A, weighted squares, -b'r, (cells - fixed) log 2 pi. Several
    cells of one sitting and model are allowed and get a c each.
    Source: mixed-model equations (Henderson) and the restricted likelihood as in Bates et al. 2015 (both textbook, from
    memory); checked against published fits and another library in the tests.
    """
    cells, columns = of.cells, len(of.model_of)
    seat, sittings, with_column = cells.sitting, len(cells.customer_of), of.column >= 0
    weight = 1 / (customers_differ + cells.noise + np.where(with_column, 0.0, models_differ))
    total = sums(seat, weight, sittings)
    hit = total > 0
    share = np.divide(1.0, total, out=np.zeros_like(total), where=hit)
    mean = cells.mean - (weight * cells.mean).sum() / weight.sum()
    level, own_share = (share * sums(seat, weight * values, sittings) for values in (mean, cells.own))
    own = cells.own - own_share[seat]  # what of the own-club column the sittings' levels do not hold
    own_weight = float((weight * own**2).sum())
    extra = int(own_weight > 1e-9 * float(weight.sum()))
    at = of.column[with_column]
    shared = weight[of.first] * weight[of.second] * share[seat[of.first]]
    matrix = np.zeros((columns + extra, columns + extra))
    matrix[:columns, :columns] = np.diag(sums(at, weight[with_column], columns) + 1 / models_differ)
    matrix[:columns, :columns] -= sums(of.entry, shared, columns**2).reshape(columns, columns)
    away = weight * (mean - level[seat])
    pull = sums(at, away[with_column], columns)
    if extra:
        matrix[-1, :columns] = matrix[:columns, -1] = sums(at, (weight * own)[with_column], columns)
        matrix[-1, -1] = own_weight
        pull = np.append(pull, (away * own).sum())
    factor = np.linalg.cholesky(matrix)
    half = linalg.solve_triangular(factor, pull, lower=True, check_finite=False)
    criterion = np.log(total[hit]).sum() - np.log(weight).sum() + columns * np.log(models_differ)
    criterion += 2 * np.log(np.diag(factor)).sum() + (away * mean).sum() - half @ half
    criterion += (len(mean) - hit.sum() - extra) * np.log(2 * np.pi)
    effects = linalg.solve_triangular(factor.T, half, lower=False, check_finite=False)[:columns]
    return Solved(float(criterion), np.asarray(effects, dtype=np.float64), np.asarray(factor, dtype=np.float64))


@dataclass(frozen=True, slots=True)
class Posterior:
    """Effects of the chosen models against their groups' averages: a mixture of normals over the believed spreads.

    weights (g,); means and spreads (g, m); covariance (m, m) of the whole mixture; model_sd and fit_sd: root of the
    mean variance between models and of a model's effect between customers.
    """

    weights: Floats
    means: Floats
    spreads: Floats
    covariance: Floats
    model_sd: float
    fit_sd: float

    @property
    def effect(self) -> Floats:
        """Mean of each effect (m,)."""
        return np.asarray(self.weights @ self.means)

    def quantile(self, share: float) -> Floats:
        """Find that quantile of each effect (m,), by halving."""
        far = 10 * self.spreads.max(axis=0) + np.abs(self.means).max(axis=0)
        low, high = -far, far
        for _ in range(44):
            middle = (low + high) / 2
            below = self.weights @ special.ndtr((middle - self.means) / self.spreads) < share
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray((low + high) / 2)


def _grid(of: Design, models: Floats, customers: Floats) -> tuple[list[list[Solved]], Floats]:
    """Solve for each sqrt(vc) and sqrt(vb), and give the log posterior of each such pair (h, g)."""
    found = [[solved(of, b**2, c**2) for b in models] for c in customers]
    logs = np.array([[-one.criterion / 2 for one in row] for row in found])
    shot = np.sqrt(of.cells.shot_variance)
    # on a grid of logarithms each spread stands for a width of its own size: that is one power of it, the belief the
    # other
    logs += 2 * np.log(models) - (models / (_MODELS_DIFFER * shot)) ** 2 / 2
    logs += (np.log(customers) - (customers / (CUSTOMERS_DIFFER * shot)) ** 2 / 2)[:, None]
    return found, logs


def _likely(spreads: Floats, logs: Floats, many: int) -> Floats:
    """Lay a finer grid over the spreads that are likely, one step wider on both sides (many,)."""
    likely = np.flatnonzero(logs > logs.max() - _UNLIKELY)
    first, last = max(likely[0] - 1, 0), min(likely[-1] + 1, len(spreads) - 1)
    return np.geomspace(spreads[first], spreads[last], many)


def against_average(cells: Cells, chosen: Ints, group: Ints) -> Posterior:
    """Judge each chosen model against the average of its group, averaged over the spreads the data leave likely.

    cells: those that compare; chosen: model indices (m,); group: label of each (m,), only alike labels are compared,
    so models that no customer links must not share one.
    vb is not plugged in: with few models its best value is often 0, and intervals would shrink to nothing. Both spreads
    are averaged over a grid. What is believed of them before stands in proportion to the spread of a shot, so a change
    of unit changes nothing else, and keeps vb off 0: with a half-normal belief, highest at 0, intervals of 15 customers
    held the truth .93 instead of .95, and the effects were off by more unless no model differed.
    Source: averaging over variance components (textbook, from memory); a belief that avoids 0 as in Chung et al. 2013
    (idea, from memory); its scale is our own judgement.
    Cover and error by simulation in tests/benchmarks/rollup_bench.py.
    """
    of = design(cells, chosen)
    models = customers = np.sqrt(cells.shot_variance) * np.geomspace(_SMALLEST, _LARGEST, _LOOKING)
    for many in (_LOOKING, _GRID):
        logs = _grid(of, models, customers)[1]
        models, customers = _likely(models, logs.max(axis=0), many), _likely(customers, logs.max(axis=1), many)
    found, logs = _grid(of, models, customers)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    same = group[:, None] == group[None, :]
    at = np.searchsorted(of.model_of, chosen)
    centre = np.zeros((len(chosen), len(of.model_of) + 1))
    centre[:, at] = np.eye(len(chosen)) - same / same.sum(axis=1, keepdims=True)
    means, variances, covariance = [], [], np.zeros((len(chosen), len(chosen)))
    for one, weight in zip((one for row in found for one in row), weights.ravel(), strict=True):
        root = linalg.solve_triangular(one.factor, centre[:, : len(one.factor)].T, lower=True, check_finite=False)
        means.append(centre[:, :-1] @ one.effects)
        variances.append((root**2).sum(axis=0))
        if weight > _NEGLIGIBLE:
            covariance += weight * (root.T @ root)
    mean, flat = np.array(means), weights.ravel()
    away = mean - flat @ mean
    spreads = np.sqrt(np.maximum(np.array(variances), 1e-18 * cells.shot_variance))
    model_sd, fit_sd = np.sqrt(weights.sum(axis=0) @ models**2), np.sqrt(weights.sum(axis=1) @ customers**2)
    return Posterior(flat, mean, spreads, covariance + (away.T * flat) @ away, float(model_sd), float(fit_sd))


def rank_ranges(effect: Floats, covariance: Floats) -> tuple[Ints, Ints]:
    """Say between which places each model may stand, 1 is the highest (m,), (m,).

    effect (m,), covariance (m, m). A place is taken for granted only from models whose difference from this one leaves
    0 out at 95 %, so models that nobody can tell apart share their places. Cover by simulation in the bench.
    """
    variance = np.diag(covariance)
    apart = np.sqrt(np.maximum(variance[:, None] + variance[None, :] - 2 * covariance, 0.0))
    difference = effect[None, :] - effect[:, None]  # how much farther the column's model is than the row's
    surely = difference > special.ndtri((1 + LEVEL) / 2) * apart
    return 1 + surely.sum(axis=1), len(effect) - surely.sum(axis=0)
