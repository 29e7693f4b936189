"""How far balls go: the levers' only link to the flight, and its shortcut for many nearly alike balls."""

import itertools
from collections.abc import Callable, Generator, Sequence
from functools import cache
from typing import Any, Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FlightModel, Floats
from pipeline.analysis.whatif import flown as flown_by
from pipeline.physics.strike import Launched

Distances = Callable[[Launched], Floats]
Told = TypeVar("Told")
Other = TypeVar("Other")

# Along each of ball speed, launch and spin four nodes (Chebyshev's, stretched to the ends), of the grid every other one
# (which fixes a surface as well as all would); and powers up to the third, twenty in all.
_ALONG: Final = np.cos((np.arange(4) + 0.5) * np.pi / 4) / np.cos(np.pi / 8)
_NODES: Final = _ALONG[np.array([place for place in itertools.product(range(4), repeat=3) if sum(place) % 2 == 0]).T]
_ORDERS: Final = [order for order in itertools.product(range(4), repeat=3) if sum(order) <= 3]
_ROUGHEST_M: Final = np.array([[0.05], [0.10]])  # of carry and total, root mean square over the nodes


def distances(model: FlightModel) -> Distances:
    """Make the only link to the flight: from launched balls to carry, total and the rest that is told of a flight.

    Parameters: model, the air, the ground and the studio's calibration all balls are flown with.
    Returns: a function from Launched of any shape to the rows of `whatif.Flown`, carry and total first, shape (6, …);
    what is true is 1 there.
    Valid range: as `fly`; NaN outside its domains. The balls fly straight: what a tilted axis costs is not in it.
    Source: `whatif.flown`.
    """

    def flown(balls: Launched) -> Floats:
        rows = np.stack(flown_by(Launched(*(np.ravel(values) for values in balls)), model))
        return rows.astype(np.float64).reshape(len(rows), *np.shape(balls.ball_speed_mps))

    return flown


# --- asking ------------------------------------------------------------------------------------------------------
class Wish(NamedTuple):
    """Balls whose flights somebody wants to know.

    Parameters: balls, of any shape; resampled, whether they are of shape (m, r): in each of m rows a middle ball first,
    then r - 1 resamples of it.
    Returns: a named tuple; the answer to it has the rows of `distances`, of resampled balls the first two, carry and
    total, shape (2, m, r) [m].
    Valid range: as `distances`; of resamples as `answered`.
    Source: definition.
    """

    balls: Launched
    resampled: bool = False


Asking = Generator[Wish, Floats, Told]
Rounds = Generator[list[Floats], list[Floats], Told]  # lots of balls, shape (3, …), and the rows of their flights


def answered(asking: Sequence[Asking[Told]], flown: Distances) -> list[Told]:
    """Answer all wishes of some calculations, round by round, each round in one go.

    Parameters: asking, calculations that yield a Wish and are sent the answer; flown, the exact distances.
    Returns: what each returns. A flight costs as much alone as with a hundred others, so they fly together.
    Valid range: as `flown`. Resampled balls: the middle ones are flown, and a resample is its middle ball's distance
    plus what a surface says of the difference; NaN balls stay NaN. Each row has a surface of its own, of third powers
    in ball speed, launch and spin, through 32 flights around its balls. Against flying every ball: 0.03 yd of carry for
    golfers' scatter, 0.2 yd of total, which ripples by 0.1 yd where the number of hops changes. A row that the surface
    does not follow is flown ball by ball in the next round.
    Source: least squares (textbook); the comparison is a test.
    """
    return finished(in_rounds(asking), flown)


def in_rounds(asking: Sequence[Asking[Told]]) -> Rounds[list[Told]]:
    """Ask for the flights that some calculations need, round by round; gives what each returns."""
    going = [_in_lots(each) for each in asking]
    told: dict[int, Told] = {}
    flights: dict[int, Floats | None] = dict.fromkeys(range(len(going)))
    while flights:
        lots: dict[int, Floats] = {}
        for place, known in flights.items():
            try:
                lots[place] = going[place].send(known)  # type: ignore[arg-type]  # None starts it
            except StopIteration as end:
                told[place] = end.value
        flights = dict(zip(lots, (yield list(lots.values())), strict=True)) if lots else {}
    return [told[place] for place in range(len(asking))]


def side_by_side(one: Rounds[Told], other: Rounds[Other]) -> Rounds[tuple[Told, Other]]:
    """Let two calculations ask in the same rounds, so that what both wish flies in one go."""
    told: list[Any] = [None, None]
    going: dict[int, tuple[Rounds[Any], list[Floats] | None]] = {0: (one, None), 1: (other, None)}
    while going:
        lots: dict[int, list[Floats]] = {}
        for place, (rounds, flights) in going.items():
            try:
                lots[place] = rounds.send(flights)  # type: ignore[arg-type]  # None starts it
            except StopIteration as end:
                told[place] = end.value
        left = iter((yield [lot for asked in lots.values() for lot in asked]) if lots else ())
        going = {place: (going[place][0], list(itertools.islice(left, len(asked)))) for place, asked in lots.items()}
    return told[0], told[1]


def finished(rounds: Rounds[Told], flown: Distances) -> Told:
    """Fly what is wished round by round, as `answered`, to the end."""
    flights: list[Floats] | None = None
    while True:
        try:
            lots = rounds.send(flights)  # type: ignore[arg-type]  # None starts it
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]
        flights = _in_one_go(lots, flown)


def _in_one_go(balls: Sequence[Floats], flown: Distances) -> list[Floats]:
    """Fly lots of balls of any shape (3, …); gives the rows of each lot's flights."""
    gone = flown(Launched(*np.concatenate([lot.reshape(3, -1) for lot in balls], axis=1)))
    parts = np.split(gone, np.cumsum([lot[0].size for lot in balls])[:-1], axis=1)
    return [part.reshape(len(gone), *lot.shape[1:]) for part, lot in zip(parts, balls, strict=True)]


# --- resamples ---------------------------------------------------------------------------------------------------
def _in_lots(asking: Asking[Told]) -> Generator[Floats, Floats, Told]:
    """Turn the wishes of a calculation into lots of balls to be flown one after the other."""
    answer: Floats | None = None
    while True:
        try:
            wish = asking.send(answer)  # type: ignore[arg-type]  # None starts it
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]
        balls = np.stack(np.broadcast_arrays(*wish.balls))
        answer = (yield from _by_surface(balls)) if wish.resampled else (yield balls)


def _by_surface(balls: Floats) -> Generator[Floats, Floats, Floats]:
    """Fly each row's middle ball and nodes, then what no surface followed; gives carry and total, (2, m, r)."""
    middle, half = box = _box(balls)
    gone = yield np.concatenate([balls[..., :1], middle + half * _NODES[:, None]], axis=-1)
    distances, followed = _on_surface(balls, box, gone[:2])
    if not followed.all():
        distances[:, ~followed] = (yield balls[:, ~followed])[:2]
    return distances


def _box(given: Floats) -> tuple[Floats, Floats]:
    """Give the middle and half the width of each row's box, shape (3, m, 1) each; NaN for a row without a ball."""
    low = np.min(given, axis=-1, keepdims=True, where=np.isfinite(given), initial=np.inf)
    high = np.max(given, axis=-1, keepdims=True, where=np.isfinite(given), initial=-np.inf)
    with np.errstate(invalid="ignore"):
        middle, half = (low + high) / 2, (high - low) / 2
    return np.where(np.isfinite(middle), middle, np.nan), np.maximum(half, 1e-9)


def _on_surface(balls: Floats, box: tuple[Floats, Floats], gone: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Lay a surface through each row's nodes and read its balls off it; gone are the middle balls' and the nodes'.

    Gives the distances (2, m, r), and which rows the surface follows.
    """
    (middle, half), exact, at_nodes = box, gone[..., :1], gone[..., 1:]
    at_terms, to_coefficients = _of_nodes()
    coefficients = at_nodes @ to_coefficients  # (2, m, 20)
    rough = np.sqrt(np.mean((at_nodes - coefficients @ at_terms) ** 2, axis=-1))
    terms = np.moveaxis(_terms((balls - middle) / half), 0, 1)  # (m, 20, r)
    surface = (coefficients[:, :, None] @ terms)[:, :, 0]
    distances = np.asarray(surface - surface[..., :1] + exact)
    followed = (rough < _ROUGHEST_M).all(axis=0) | np.isnan(middle[0, :, 0])  # not where a node could not be flown
    return distances, followed


@cache
def _of_nodes() -> tuple[Floats, Floats]:
    """Give the terms at the nodes, shape (20, 32), and what turns values there into coefficients, shape (32, 20)."""
    terms = _terms(_NODES)
    return terms, np.asarray(np.linalg.pinv(terms), dtype=np.float64)


def _terms(places: Floats) -> Floats:
    """Give the surface's twenty terms at places (3, …) of the cube from -1 to 1."""
    first, second, third = ((np.ones_like(x), x, x * x, x * x * x) for x in places)
    return np.stack([first[i] * second[j] * third[k] for i, j, k in _ORDERS])
