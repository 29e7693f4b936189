"""Does a bay's device drift? One figure a session, held against a reference window by a clipped cumulative sum."""

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.rollup_records import BaySession, DriftAlarm, DriftWatch

FEWEST_SHOTS = 5
# The best tenth of a session's ball/club ratios tells the device, the rest the golfer; of the others the middle shot.
QUANTILE_OF = {"smash_factor": 0.9, "carry_over_modelled": 0.5, "spin_rate_rpm": 0.5}
_STATES = 160  # of the Markov chain: run lengths to about 0.1 %
_STATES_OF_MANY = 80
_MANY = 100  # sessions over which the chance of a false alarm is stated
_NODES = 9


@dataclass(frozen=True, slots=True)
class DriftRules:
    """How the sums are run; all in spreads between the reference's sessions but the first, a count of sessions.

    A session counts at most `clip`; what is within `step` of the reference counts nothing; above `limit` is an alarm.
    """

    reference: int = 60
    step: float = 0.5
    limit: float = 6.0
    clip: float = 2.0


RULES = DriftRules()


def session_value(quantity: str, values: Floats) -> float | None:
    """Give the one figure a session adds to the watch over a quantity; None below five finite values.

    quantity: smash_factor (ball ÷ club speed), carry_over_modelled (reported ÷ modelled carry) or spin_rate_rpm;
    values: of the shots of one category that are no bad reads, any shape. The 90th percentile of the ratio, the median
    of the others. A device that computes carry from its own ball speed agrees with the model however wrong that speed
    is: only the ratio sees it.
    Source: own method: a golfer's best strikes come near what club and device allow, while the mean tells how well the
    golfer struck.
    """
    known = np.asarray(values, dtype=np.float64)
    known = known[np.isfinite(known)]
    return float(np.quantile(known, QUANTILE_OF[quantity])) if len(known) >= FEWEST_SHOTS else None


# --- how long until an alarm --------------------------------------------------------------------------------------
def _steps(shift: Floats, spread: Floats, rules: DriftRules, states: int) -> Floats:
    """Give the chances of a one-sided sum to move between its states, for each shift and spread (p, s, s)."""
    width = 2 * rules.limit / (2 * states - 1)
    centre = width * np.arange(states)
    upper = centre[None, :] + width / 2 - centre[:, None] + rules.step  # the value that leads to a state's upper end
    below = special.ndtr((upper - shift[:, None, None]) / spread[:, None, None])
    below = np.where(upper < -rules.clip, 0.0, np.where(upper >= rules.clip, 1.0, below))
    return np.diff(below, axis=2, prepend=0.0)


def run_length(shift: float, rules: DriftRules = RULES) -> float:
    """Give the average number of sessions until an alarm, either way, with mean and spread of the reference known.

    shift: of the device, in spreads between sessions. Brook and Evans' chain for each side, 1/L = 1/L_up + 1/L_down.
    A reference of few sessions makes false alarms more frequent: false_alarm_in_100 says so.
    Source: Brook & Evans 1972 and Lucas & Crosier 1982 (methods from memory; their printed values, read in a program
    that quotes them, are checked in the tests). Clip inf gives the plain sum.
    """
    moves = _steps(np.array([shift, -shift]), np.ones(2), rules, _STATES)
    lengths = np.linalg.solve(np.eye(_STATES) - moves, np.ones((2, _STATES, 1)))[:, 0, 0]
    return float(1 / (1 / lengths).sum())


@functools.cache
def false_alarm_in_100(rules: DriftRules = RULES) -> float:
    """Give the chance that a steady device raises an alarm within 100 sessions, its reference being estimated.

    Averaged over what mean (normal) and spread (chi-square) of `reference` normal sessions may be; the two sides' sums
    taken as independent. Source: own composition of the chain above; checked by simulation in the tests.
    """
    freedom = rules.reference - 1
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    shares = (np.arange(_NODES) + 0.5) / _NODES
    wide = np.sqrt(special.chdtri(freedom, 1 - shares) / freedom)
    mean, spread = (grid.ravel() for grid in np.meshgrid(nodes / math.sqrt(rules.reference), wide, indexing="ij"))
    moves = _steps(-mean / spread, 1 / spread, rules, _STATES_OF_MANY)
    quiet = np.ones((len(mean), _STATES_OF_MANY, 1))
    for _ in range(_MANY):
        quiet = moves @ quiet
    up = quiet[:, 0, 0].reshape(_NODES, _NODES)
    both = (up * up[::-1]).mean(axis=1)  # what an error of the mean does upwards, the opposite error does downwards
    return float(1 - (weights * both).sum() / weights.sum())


# --- the watch ----------------------------------------------------------------------------------------------------
class _Side:
    """The sum of one side: grows with sessions on that side, and remembers since when it is above 0."""

    def __init__(self, sign: int, rules: DriftRules) -> None:
        self.sign, self.rules = sign, rules
        self.total = 0.0
        self.since = self.seen = -1
        self.sessions: list[int] = []
        self.golfers: list[str | None] = []

    def take(self, index: int, golfer: str | None, z: float) -> None:
        """Add a session; a golfer counts once as long as the sum stays above 0, so that one odd one raises no alarm."""
        if golfer is None or golfer not in self.golfers:
            clipped = min(max(self.sign * z, -self.rules.clip), self.rules.clip)
            self.total = max(0.0, self.total + clipped - self.rules.step)
        if self.total == 0:
            self.since = self.seen = -1
            self.sessions, self.golfers = [], []
            return
        self.sessions.append(index)
        self.golfers.append(golfer)
        self.since = self.sessions[0]
        if self.total > self.rules.limit:
            self.seen = index if self.seen < 0 else self.seen
            self.total = self.rules.limit  # so that a device put right again ends its alarm in some ten sessions


def watch(quantity: str, sessions: Sequence[BaySession], rules: DriftRules = RULES) -> DriftWatch:
    """Say whether a device's readings have moved away from those of its first sessions.

    quantity: name handed through; sessions: of one bay, device and category since it was last set up, in order of time,
    value as `session_value` gives it. Those without a value take no part. The first rules.reference ones with a value
    are the reference: before it is full the state is learning.
    z = (value - mean) / sd of the reference, plain, so that how golfers differ and the odd golfer among them are part
    of the spread; clipped; two one-sided sums. An alarm stands until its sum has come back to 0. Returns one record. A
    spread of 0 in the reference (all sessions alike) takes any other value for one spread of clip. Measured with normal
    golfers, 3 % of them 4 spreads odd, and the rules as they are: a false alarm in 100 sessions 6 %, half of the shifts
    of 1 and 2 spreads seen in 17 and 7 sessions. Source: Page 1954, Lucas & Crosier 1982 (methods, from memory);
    clipping and the rule for repeated golfers are our own.
    """
    known = [(i, one) for i, one in enumerate(sessions) if one.value is not None and math.isfinite(one.value)]
    used, chance = len(known), false_alarm_in_100(rules)
    missing = len(sessions) - used
    if used < rules.reference:
        return DriftWatch(quantity, "learning", used, missing, math.nan, math.nan, chance, None)
    values = np.array([one.value for _, one in known], dtype=np.float64)
    mean, spread = float(values[: rules.reference].mean()), float(values[: rules.reference].std(ddof=1))
    sides = (_Side(1, rules), _Side(-1, rules))
    for k, (_, one) in enumerate(known[rules.reference :], rules.reference):
        away = float(values[k]) - mean
        z = away / spread if spread > 0 else math.copysign(rules.clip, away) if away else 0.0
        for side in sides:
            side.take(k, one.golfer, z)
    raised = [side for side in sides if side.seen >= 0]
    if not raised:
        return DriftWatch(quantity, "steady", used, missing, mean, spread, chance, None)
    side = min(raised, key=lambda one: one.seen)
    size = float(np.median(values[side.sessions])) - mean
    named = {golfer for golfer in side.golfers if golfer is not None}
    alarm = DriftAlarm(
        quantity=quantity,
        since=known[side.since][0],
        since_day=known[side.since][1].day,
        seen=known[side.seen][0],
        seen_on=known[side.seen][1].day,
        direction="up" if side.sign > 0 else "down",
        size=size,
        size_sd=size / spread if spread > 0 else math.copysign(math.inf, size),
        sessions=len(side.sessions),
        golfers=len(named) + side.golfers.count(None),
    )
    return DriftWatch(quantity, "drifting", used, missing, mean, spread, chance, alarm)
