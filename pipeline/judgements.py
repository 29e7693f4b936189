"""What the statistics beyond the averages say: frozen records, no behaviour."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BetweenClubs:
    """How much builds of one kind truly differ for one customer: spread [m], and the degrees of freedom behind it.

    source: stated (our judgement) | history (the studio's own visits).
    """

    spread_m: float
    freedom: float
    source: str


@dataclass(frozen=True, slots=True)
class TypicalSpread:
    """How a customer's shots with one club spread: standard deviation [m], and the freedoms that has in a visit."""

    spread_m: float
    freedom: float


@dataclass(frozen=True, slots=True)
class KindHistory:
    """What a studio has learned of one kind of club (driver, wood, hybrid, iron, wedge), from so many customers."""

    kind: str
    customers: int
    between: BetweenClubs
    shots: TypicalSpread


@dataclass(frozen=True, slots=True)
class History:
    """What a studio has learned, kind by kind; a kind of which too little is known is missing."""

    kinds: tuple[KindHistory, ...]

    def of(self, kind: str | None) -> KindHistory | None:
        """Give what is known of a kind of club."""
        return next((one for one in self.kinds if one.kind == kind), None)


@dataclass(frozen=True, slots=True)
class Expectation:
    """What to expect of a build over the own club: the measured gain, the gain shrunk, and where it lies at 95 % [m].

    farther: how often a ball with the build flies farther than one with the own club; farther_low and farther_high
    bound that share at 90 %. between_m: the true spread between builds that was believed in the end.
    """

    build: int
    against: int
    n_build: int
    n_against: int
    measured: float
    expected: float
    low: float
    high: float
    farther: float
    farther_low: float
    farther_high: float
    between_m: float
    method: str = "partial_pooling"


@dataclass(frozen=True, slots=True)
class OrderEffect:
    """What the order of the shots does to the comparison of a build with the own club.

    inflation: how much the order widens an adjusted interval (VIF). adjusted: the comparison allows for the shot
    number; else `drift` is what warm-up or tiredness may have added to the plain difference, with its range at 80 %,
    and could_be the larger end of it [m].
    """

    build: int
    against: int
    n_build: int
    n_against: int
    inflation: float
    adjusted: bool
    plain_difference: float
    drift: float
    drift_low: float
    drift_high: float
    could_be: float
    method: str = "least_squares_on_shot_number"


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation with its 95 % interval (normal shots)."""

    quantity: str
    n: int
    sd: float
    low: float
    high: float
    method: str = "chi_square"


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Where the balls of a set come down: side [m], + right, with its range at 95 %; spreads; share on the fairway.

    side: left | right | not_settled. fairway: share of all valid shots, mishits too, that come down on a fairway of
    that width, with its range at 90 %. n: counted shots with carry and side; n_valid: those and the mishits.
    """

    set_index: int
    n: int
    n_valid: int
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
    method: str = "normal_draws"


@dataclass(frozen=True, slots=True)
class SpreadComparison:
    """Spread of a build over that of the own club, the chance of such a ratio if there is no difference, and a verdict.

    verdict: likely_real | not_settled; with a fitting's handful of shots nearly always not_settled.
    """

    build: int
    against: int
    n_build: int
    n_against: int
    quantity: str
    ratio: float
    p: float
    verdict: str
    method: str = "brown_forsythe"


@dataclass(frozen=True, slots=True)
class Exchange:
    """Distance against accuracy at a distance left to the hole [m], for a tour player (strokes to hole out).

    nearer: strokes gained per metre nearer; rough and recovery: strokes lost there against the fairway; fairway_share:
    share of fairways that is worth as much as 10 yards of distance. hole_m: the hole it was asked for.
    """

    hole_m: float
    left_m: float
    nearer: float
    rough: float
    recovery: float
    fairway_share: float
    method: str = "tour_baseline"


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

    looks: overlap | even | hole, by the mean alone; may_be: all that its interval allows, the closest first; settled
    where that is one. shorter_farther: how often a ball with the shorter club flies farther than one with the longer.
    more_shots: about how many more with each club would bring the interval within ± the smallest difference that
    matters, None when settled, when it is there already (the step lies near a limit), or out of reach.
    """

    longer: int
    shorter: int
    n_longer: int
    n_shorter: int
    gap_m: float
    low: float
    high: float
    looks: str
    may_be: tuple[str, ...]
    settled: bool
    shorter_farther: float
    more_shots: int | None
    method: str = "welch"


@dataclass(frozen=True, slots=True)
class Bag:
    """The clubs of a bag, longest carry first, the steps between them, and the sets left out as too few or uneven."""

    clubs: tuple[BagClub, ...]
    gaps: tuple[Gap, ...]
    left_out: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """Everything said of a visit beyond averages and comparisons.

    prior: how much builds were believed to differ before this visit; history_customers: from so many of the studio's
    customers, 0 where it is our judgement. parted: sets in which mean and middle of the carry part. exchange and bag:
    None where the visit gives none.
    """

    expectations: tuple[Expectation, ...] = ()
    prior: BetweenClubs | None = None
    history_customers: int = 0
    orders: tuple[OrderEffect, ...] = ()
    accuracies: tuple[Accuracy, ...] = ()
    spreads: tuple[SpreadComparison, ...] = ()
    exchange: Exchange | None = None
    bag: Bag | None = None
    parted: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class DeviceCheck:
    """One file's reported over modelled carry: median, robust spread, and whether it is too far off."""

    file: str
    shots: int
    centre: float
    spread: float
    far_off: bool


@dataclass(frozen=True, slots=True)
class AtHome:
    """How far a set's counted balls would go, on average, in the air of the home course [m]."""

    set_index: int
    carry_m: float
    total_m: float | None


@dataclass(frozen=True, slots=True)
class HomeCourse:
    """The customer's home course: its air, the air's density over that of the reference air, and the sets there."""

    altitude_m: float
    temperature_c: float
    density_ratio: float
    sets: tuple[AtHome, ...]
