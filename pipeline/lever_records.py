"""What is said of the levers, the four things a fitting can move: frozen records, no behaviour."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Gain:
    """What a lever brought, with the range that holds it at 80 % [m]; minus is a loss.

    lever: club_speed | strike | attack | fit | attack_and_fit | ball_speed | launch_and_spin, or of the whole
    attribution modelled | unexplained. sayable: a sentence may name it. Its range at 90 % leaves 0 out, and among the
    levers printed together it stands up to Holm's rule, so that of visits in which nothing changed at most one in ten
    gets any such sentence. False for what is not printed.
    """

    lever: str
    gain_m: float
    low_m: float
    high_m: float
    sayable: bool


@dataclass(frozen=True, slots=True)
class Attribution:
    """What each lever brought in one distance, carry_m or total_m [m].

    levers: those the columns tell apart, they sum to `modelled`; attack_and_fit: both as one, None without an attack
    angle. modelled: what the flight model says of all levers together, None where one is undetermined. measured_m:
    difference of the means of the distances used in the report, None where they are not known; unexplained: measured
    less modelled.
    """

    quantity: str
    levers: tuple[Gain, ...]
    attack_and_fit: Gain | None
    modelled: Gain | None
    measured_m: float | None
    unexplained: Gain | None


@dataclass(frozen=True, slots=True)
class LeverStory:
    """What the levers brought from one set to another, by set index; shots are those behind each.

    tier: full | no_spin | no_attack | no_attack_no_spin | ball_only | ball_no_spin, by the columns both sets have.
    together_only: attack and fit cannot be told apart well, print them as one. undetermined: the lever nothing can be
    said of, "" without one. warnings: different_files | different_days.
    """

    build: int
    against: int
    tier: str
    shots: int
    against_shots: int
    together_only: bool
    undetermined: str
    carry: Attribution
    total: Attribution
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VisitLevers:
    """The stories of a visit: the sets that do the own club's job, against it and each against the one before."""

    from_own: tuple[LeverStory, ...] = ()
    steps: tuple[LeverStory, ...] = ()
