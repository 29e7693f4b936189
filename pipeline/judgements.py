"""What the statistics beyond the averages say: frozen records, no behaviour."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BetweenClubs:
    """How much builds of one kind truly differ for one customer: spread [m], and the degrees of freedom behind it."""

    spread_m: float
    freedom: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """What to expect of a build over the own club: the measured gain, the gain shrunk, and where it lies at 95 % [m].

    farther: how often a ball with the build flies farther than one with the own club; farther_low and farther_high
    bound that share at 90 %. between_m: the true spread between builds that was believed in the end.
    """

    build: int
    against: int
    measured: float
    expected: float
    low: float
    high: float
    farther: float
    farther_low: float
    farther_high: float
    between_m: float


@dataclass(frozen=True, slots=True)
class OrderEffect:
    """A build against the own club with the order of the shots in mind.

    inflation: how much the order widens an adjusted interval (VIF). adjusted: difference, low, high and verdict are
    those of a fit that allows for the shot number, else the plain ones. drift: what warm-up or tiredness adds to the
    plain difference, with its range at 80 % and the larger end of it, could_be [m]. hint: "" | alternate.
    """

    build: int
    against: int
    inflation: float
    adjusted: bool
    difference: float
    low: float
    high: float
    verdict: str
    drift: float
    drift_low: float
    drift_high: float
    could_be: float
    hint: str


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation with its 95 % interval (normal shots)."""

    quantity: str
    n: int
    sd: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Where the balls of a set come down: side [m], + right, with its range at 95 %; spreads; share on the fairway.

    side: left | right | not_settled. fairway: share of all valid shots, mishits too, on a fairway of that width, with
    its range at 90 %; None without a side of at least three balls.
    """

    set_index: int
    n: int
    bias: float
    bias_low: float
    bias_high: float
    side: str
    width: Spread
    depth: Spread
    fairway_width_m: float
    fairway: float
    fairway_low: float
    fairway_high: float


@dataclass(frozen=True, slots=True)
class SpreadComparison:
    """Spread of a build over that of the own club, the chance of such a ratio if there is no difference, and a verdict.

    verdict: likely_real | not_settled; with a fitting's handful of shots nearly always not_settled.
    """

    build: int
    against: int
    quantity: str
    ratio: float
    p: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Exchange:
    """Distance against accuracy at a distance left to the hole [m], for a tour player (strokes to hole out).

    nearer: strokes gained per metre nearer; rough and recovery: strokes lost there against the fairway; fairway_share:
    share of fairways that is worth as much as 10 yards of distance.
    """

    left_m: float
    nearer: float
    rough: float
    recovery: float
    fairway_share: float


@dataclass(frozen=True, slots=True)
class BagClub:
    """One club of a bag: its carry with the range of the mean at 95 % [m]."""

    set_index: int
    n: int
    carry_m: float
    low: float
    high: float
    sd: float


@dataclass(frozen=True, slots=True)
class Gap:
    """The step from a club to the next shorter one, with intervals simultaneous over the bag's gaps [m].

    looks: overlap | even | hole, by the mean alone; settled: the interval says the same. shorter_farther: how often a
    ball with the shorter club flies farther than one with the longer. more_shots: about how many more with each club
    would bring the interval within ± the smallest difference that matters, None when settled or out of reach.
    """

    longer: int
    shorter: int
    gap_m: float
    low: float
    high: float
    looks: str
    settled: bool
    shorter_farther: float
    more_shots: int | None


@dataclass(frozen=True, slots=True)
class Bag:
    """The clubs of a bag, longest carry first, the gaps between neighbours, and the sets left out for few shots."""

    clubs: tuple[BagClub, ...]
    gaps: tuple[Gap, ...]
    left_out: tuple[int, ...]
