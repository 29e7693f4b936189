"""What the manager is told of club models over all customers, and of a bay's device: frozen records, no behaviour."""

from dataclasses import dataclass
from pathlib import Path

GROUP_SEPARATOR = "\x1f"  # in a category between the clubs' job and what else divides them; no text of shots holds it


# --- club models --------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class RollUpRules:
    """How much must be known before anything is said; all our own judgement.

    fewest_customers: a model, a band's model and a loft or shaft are shown from so many on, at least 2: a label may
    hold a person's name, so what only one customer hit is never named. early_customers and early_shots:
    below either, a row is marked as early. rank_customers and rank_half_width: a model is ranked with so many and an
    interval no wider. worth: smallest difference that matters. widths are in the quantity's unit, the
    defaults are for carry [m]. old_before: a model last hit before that period is marked; None marks none.
    """

    fewest_customers: int = 5
    early_customers: int = 8
    early_shots: int = 40
    rank_customers: int = 8
    rank_half_width: float = 4.572
    worth: float = 4.572
    old_before: str | None = None


@dataclass(frozen=True, slots=True)
class Share:
    """A count of so many, its share, and the range of that share at 95 %."""

    count: int
    of: int
    share: float
    low: float
    high: float
    method: str = "wilson"


@dataclass(frozen=True, slots=True)
class OwnGains:
    """What a model brought over the customers' own clubs, one gain a customer; in the quantity's unit.

    mean with its range at 95 %. quantiles: of the customers' true gains at 10, 25, 50, 75 and 90 %, the luck of few
    shots taken out of their spread; measured: the same of the gains as measured, spread by luck. improved: customers
    whose measured gain is above 0. likely_longer: those for whom it was likely real (5 % if a model changes nothing);
    lift: that share less those 5 %.
    """

    customers: int
    mean: float
    low: float
    high: float
    quantiles: tuple[float, ...]
    measured: tuple[float, ...]
    improved: Share
    likely_longer: Share
    lift: float
    method: str = "random_effects_mean"


@dataclass(frozen=True, slots=True)
class Part:
    """One loft or shaft of a model; "" is not stated, `thin` the thin ones together (value: how many kinds of it).

    One that is thin alone keeps its value, unless a single customer hit it.

    reason: shown | few_customers (gains is None). gains is None too where too few hit their own club beside it.
    """

    kind: str
    value: str
    thin: bool
    customers: int
    shots: int
    gains: OwnGains | None
    reason: str


@dataclass(frozen=True, slots=True)
class ModelEffect:
    """A model against the average of the models shown with it, with its range at 95 % (the quantity's unit).

    verdict: better | worse | average (within the smallest difference that matters) | not_settled. compared: customers
    who hit it beside another model in one sitting. rank_low and rank_high: best and worst place it may have among
    the `ranked` models of its component, None where too little is known.
    """

    model: str
    compared: int
    effect: float
    low: float
    high: float
    verdict: str
    rank_low: int | None = None
    rank_high: int | None = None
    ranked: int = 0


@dataclass(frozen=True, slots=True)
class ModelRow:
    """All that is said of a model. component: index into the category's components; caveats: codes.

    caveats: few_customers | only_slow | only_medium | only_fast | not_connected | one_studio | mostly_own_clubs |
    old_data.
    """

    effect: ModelEffect
    component: int
    customers: int
    own_customers: int
    shots: int
    studios: int
    first_period: str
    last_period: str
    gains: OwnGains | None
    parts: tuple[Part, ...]
    caveats: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Withheld:
    """A model nothing is said of, and why: few_customers | only_own_clubs | not_connected (nothing to compare with).

    Models that a single customer hit are not named (a label may hold a person's name): they stand together, model "",
    `models` of them.
    """

    model: str
    reason: str
    customers: int
    compared: int
    shots: int
    models: int = 1


@dataclass(frozen=True, slots=True)
class SpeedBand:
    """The same comparison among customers of one speed: name slow | medium | fast, from and below [m/s]."""

    name: str
    from_mps: float
    below_mps: float
    customers: int
    models: tuple[ModelEffect, ...]
    withheld: tuple[Withheld, ...]


@dataclass(frozen=True, slots=True)
class CategoryRollUp:
    """The models of one category: the clubs' job, or job and what else divides them, GROUP_SEPARATOR between.

    components: models linked through customers who hit both; nothing is compared across them; the largest first; models
    that a single customer hit are not named. unnamed_shots: with clubs of which nobody said the model, beside own ones;
    these count nowhere.
    shot_sd, model_sd and fit_sd: spread of a customer's shots, of the models' effects, and of what a model does for
    one customer and not for another (the quantity's unit).
    """

    category: str
    customers: int
    shots: int
    components: tuple[tuple[str, ...], ...]
    models: tuple[ModelRow, ...]
    withheld: tuple[Withheld, ...]
    bands: tuple[SpeedBand, ...]
    shot_sd: float
    model_sd: float
    fit_sd: float
    unnamed_shots: int = 0
    method: str = "customers_fixed_models_pooled"


# --- a bay's device -----------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class BaySession:
    """What one visit says of a bay's device; golfer None where nobody said, value None where too few shots had one.

    Sessions stand in the order of time. day: as text, only handed through.
    """

    day: str
    golfer: str | None
    value: float | None


@dataclass(frozen=True, slots=True)
class DriftAlarm:
    """A device's readings have moved away from the reference: since which session and day, whither, and how far.

    size: median since then less the reference mean, in the quantity's unit; size_sd: in spreads between sessions.
    sessions and golfers: those with a value since then. since and seen (the one that raised it): places among all
    sessions handed over.
    """

    quantity: str
    since: int
    since_day: str
    seen: int
    seen_on: str
    direction: str
    size: float
    size_sd: float
    sessions: int
    golfers: int


@dataclass(frozen=True, slots=True)
class DriftWatch:
    """The watch over one quantity of one bay. state: learning | steady | drifting.

    reference_mean and reference_sd: of the sessions of the reference window, NaN while learning. used and missing:
    sessions with and without a value. false_alarm_in_100: chance that a steady device raises an alarm within 100 of
    them.
    """

    quantity: str
    state: str
    used: int
    missing: int
    reference_mean: float
    reference_sd: float
    false_alarm_in_100: float
    alarm: DriftAlarm | None
    method: str = "clipped_cusum"


# --- the archive --------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class ArchiveManifest:
    """The archive's files that count, and the keys of visits whose rows in them count no more."""

    paths: tuple[Path, ...]
    gone: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class BayWatch:
    """The watch over one quantity of one bay, by the clubs of one job."""

    studio: str
    bay: str
    job: str
    watch: DriftWatch


# --- all that is told ---------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class CarrySpread:
    """Carry of a model's counted shots as hit in testing: how many, and their 10, 50 and 90 % points."""

    n: int
    p10_m: float
    p50_m: float
    p90_m: float


@dataclass(frozen=True, slots=True)
class ModelsFound:
    """Everything the manager's page says: the roll-up, carries by (category, model), the watches, and what was asked.

    unknown: categories that were hit and of which nothing can be said. customers and shots: of all categories.
    first_month and last_month: of what was hit ("2026-11"), "" where nothing was. since, until and kind: as asked for,
    "" where not. by: what divides the categories beside the clubs' job (loft, shaft, month, studio). studio: the key of
    the studio that asks, whose name is known.
    """

    categories: tuple[CategoryRollUp, ...]
    unknown: tuple[str, ...]
    carries: dict[tuple[str, str], CarrySpread]
    watches: tuple[BayWatch, ...]
    rules: RollUpRules
    customers: int
    shots: int
    first_month: str
    last_month: str
    since: str = ""
    until: str = ""
    kind: str = ""
    by: tuple[str, ...] = ()
    studio: str = ""
