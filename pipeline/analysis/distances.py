"""How far balls go: the levers' only link to the flight, and its shortcut for many nearly alike balls."""

import itertools
from collections.abc import Callable, Generator, Sequence
from functools import cache
from typing import Any, Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FlightModel, Floats
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance
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
    """Make the only link to the flight: from launched balls to carry and total.

    Parameters: model, the air, the ground and the studio's calibration all balls are flown with.
    Returns: a function from Launched of any shape to carry and total, shape (2, …) [m].
    Valid range: as `fly`; NaN outside its domains. The balls fly straight: what a tilted axis costs is not in it.
    Source: `fly` and `total_distance`.
    """

    def flown(balls: Launched) -> Floats:
        launch = Launch.of(*(np.ravel(values) for values in balls))
        flight = fly(launch, model.air, drag_scale=model.drag_scale, lift_scale=model.lift_scale)
        both = np.stack([flight.carry_m, total_distance(flight, model.firmness).total_m])
        return both.reshape(2, *np.shape(balls.ball_speed_mps))

    return flown


# --- asking ------------------------------------------------------------------------------------------------------
class Wish(NamedTuple):
    """Balls whose carry and total somebody wants to know.

    Parameters: balls, of any shape; resampled, whether they are of shape (m, r): in each of m rows a middle ball first,
    then r - 1 resamples of it.
    Returns: a named tuple; the answer to it is carry and total, shape (2, …) [m].
    Valid range: as `distances`; of resamples as `answered`.
    Source: definition.
    """

    balls: Launched
    resampled: bool = False


Asking = Generator[Wish, Floats, Told]
Rounds = Generator[list[Wish], list[Floats], Told]


def answered(asking: Sequence[Asking[Told]], flown: Distances) -> list[Told]:
    """Answer all wishes of some calculations, round by round, each round in one go.

    Parameters: asking, calculations that yield a Wish and are sent the answer; flown, the exact distances.
    Returns: what each returns. A flight costs as much alone as with a hundred others, so they fly together.
    Valid range: as `flown`. Resampled balls: the middle ones are flown, and a resample is its middle ball's distance
    plus what a surface says of the difference; NaN balls stay NaN. Each row has a surface of its own, of third powers
    in ball speed, launch and spin, through 32 flights around its balls. Against flying every ball: 0.03 yd of carry for
    golfers' scatter, 0.2 yd of total, which ripples by 0.1 yd where the number of hops changes. A row that the surface
    does not follow is flown ball by ball.
    Source: least squares (textbook); the comparison is a test.
    """
    return finished(in_rounds(asking), flown)


def in_rounds(asking: Sequence[Asking[Told]]) -> Rounds[list[Told]]:
    """Ask for what some calculations wish, round by round; gives what each returns."""
    told: dict[int, Told] = {}
    answers: dict[int, Floats | None] = dict.fromkeys(range(len(asking)))
    while answers:
        wishes: dict[int, Wish] = {}
        for place, answer in answers.items():
            try:
                wishes[place] = asking[place].send(answer)  # type: ignore[arg-type]  # None starts it
            except StopIteration as end:
                told[place] = end.value
        answers = dict(zip(wishes, (yield list(wishes.values())), strict=True)) if wishes else {}
    return [told[place] for place in range(len(asking))]


def side_by_side(one: Rounds[Told], other: Rounds[Other]) -> Rounds[tuple[Told, Other]]:
    """Let two calculations ask in the same rounds, so that what both wish flies in one go."""
    told: list[Any] = [None, None]
    going: dict[int, tuple[Rounds[Any], list[Floats] | None]] = {0: (one, None), 1: (other, None)}
    while going:
        wishes: dict[int, list[Wish]] = {}
        for place, (rounds, answers) in going.items():
            try:
                wishes[place] = rounds.send(answers)  # type: ignore[arg-type]  # None starts it
            except StopIteration as end:
                told[place] = end.value
        left = iter((yield [wish for asked in wishes.values() for wish in asked]) if wishes else ())
        going = {place: (going[place][0], list(itertools.islice(left, len(asked)))) for place, asked in wishes.items()}
    return told[0], told[1]


def finished(rounds: Rounds[Told], flown: Distances) -> Told:
    """Fly what is wished round by round, as `answered`, to the end."""
    answers: list[Floats] | None = None
    while True:
        try:
            wishes = rounds.send(answers)  # type: ignore[arg-type]  # None starts it
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]
        answers = _granted(wishes, flown)


def _granted(wishes: Sequence[Wish], flown: Distances) -> list[Floats]:
    """Answer wishes in one go, and fly in another what no surface followed."""
    boxes = [_box(wish.balls) if wish.resampled else None for wish in wishes]
    asked = [_asked(wish.balls, box) for wish, box in zip(wishes, boxes, strict=True)]
    gone = _in_one_go(asked, flown)
    answers, rest = list(gone), {}
    for place, (wish, box) in enumerate(zip(wishes, boxes, strict=True)):
        if box is not None:
            answers[place], followed = _on_surface(wish.balls, box, gone[place])
            if not followed.all():
                rest[place] = ~followed
    exact = _in_one_go([np.stack(wishes[place].balls)[:, rows] for place, rows in rest.items()], flown)
    for (place, rows), distances in zip(rest.items(), exact, strict=True):
        answers[place][:, rows] = distances
    return answers


def _in_one_go(balls: Sequence[Floats], flown: Distances) -> list[Floats]:
    """Fly lots of balls of any shape (3, …); gives carry and total of each lot, shape (2, …)."""
    if not balls:
        return []
    gone = flown(Launched(*np.concatenate([lot.reshape(3, -1) for lot in balls], axis=1)))
    parts = np.split(gone, np.cumsum([lot[0].size for lot in balls])[:-1], axis=1)
    return [part.reshape(2, *lot.shape[1:]) for part, lot in zip(parts, balls, strict=True)]


def _asked(balls: Launched, box: tuple[Floats, Floats] | None) -> Floats:
    """Give what has to be flown: all balls, or the middle ball and the nodes of each row, shape (3, m, 33)."""
    given = np.stack(np.broadcast_arrays(*balls))
    if box is None:
        return given
    middle, half = box
    return np.concatenate([given[..., :1], middle + half * _NODES[:, None]], axis=-1)


def _box(lot: Launched) -> tuple[Floats, Floats]:
    """Give the middle and half the width of each row's box, shape (3, m, 1) each; NaN for a row without a ball."""
    given = np.stack(lot)
    low = np.min(given, axis=-1, keepdims=True, where=np.isfinite(given), initial=np.inf)
    high = np.max(given, axis=-1, keepdims=True, where=np.isfinite(given), initial=-np.inf)
    with np.errstate(invalid="ignore"):
        middle, half = (low + high) / 2, (high - low) / 2
    return np.where(np.isfinite(middle), middle, np.nan), np.maximum(half, 1e-9)


def _on_surface(lot: Launched, box: tuple[Floats, Floats], gone: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Lay a surface through each row's nodes and read its balls off it; gone are the middle balls' and the nodes'.

    Gives the distances (2, m, r), and which rows the surface follows.
    """
    (middle, half), exact, at_nodes = box, gone[..., :1], gone[..., 1:]
    coefficients = at_nodes @ _to_coefficients()  # (2, m, 20)
    rough = np.sqrt(np.mean((at_nodes - coefficients @ _terms(_NODES)) ** 2, axis=-1))
    terms = np.moveaxis(_terms((np.stack(lot) - middle) / half), 0, 1)  # (m, 20, r)
    surface = (coefficients[:, :, None] @ terms)[:, :, 0]
    distances = np.asarray(surface - surface[..., :1] + exact)
    followed = (rough < _ROUGHEST_M).all(axis=0) | np.isnan(middle[0, :, 0])  # not where a node could not be flown
    return distances, followed


@cache
def _to_coefficients() -> Floats:
    """Give what turns values at the nodes into coefficients, shape (32, 20)."""
    return np.asarray(np.linalg.pinv(_terms(_NODES)), dtype=np.float64)


def _terms(places: Floats) -> Floats:
    """Give the surface's twenty terms at places (3, …) of the cube from -1 to 1."""
    first, second, third = ((np.ones_like(x), x, x * x, x * x * x) for x in places)
    return np.stack([first[i] * second[j] * third[k] for i, j, k in _ORDERS])
