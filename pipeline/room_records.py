"""What a golfer's distance hangs on and what it could still gain: frozen records, no behaviour.

Speeds and distances in SI, angles in degrees and spin in rpm, as everywhere in what is stored. Every distance is the
golfer's own average plus a difference of the model, never the model's own distance.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ranged:
    """A difference of distance with the range that holds it at 80 % [m].

    sayable: the range at 90 % leaves 0 out, so a sentence may name the direction.
    """

    value_m: float
    low_m: float
    high_m: float
    sayable: bool


@dataclass(frozen=True, slots=True)
class Brought:
    """What one thing brings, in carry and in total."""

    carry: Ranged
    total: Ranged


@dataclass(frozen=True, slots=True)
class UnitWorth:
    """What one step of one quantity is worth to this golfer, all else as it is.

    lever: club_speed | strike | attack | loft | spin. step: in the unit of `quantity` (club_speed_mps, smash_factor,
    attack_angle_deg, loft_deg, spin_rate_rpm), signed. Of the attack, with the loft chosen anew before and after.
    basis: modelled, from what was measured | common_practice, where a spin nobody read had to be guessed.
    """

    lever: str
    quantity: str
    step: float
    brings: Brought
    basis: str


@dataclass(frozen=True, slots=True)
class LeverRoom:
    """What a lever could still bring.

    lever: club_speed | strike | attack | fit. now: the golfer's own average of `quantity` (club_speed_mps,
    smash_factor, attack_angle_deg, dynamic_loft_deg), step: how far it could move, of the fit the change of the club's
    own loft. bound: what ends the step, own (the golfer's own good shots) | limit (what is safe or usual) | best (of
    the fit: no other loft is advised).
    part: its part of all levers together; the parts of a Room's levers sum to its `together`. alone: if nothing else
    moved, of the fit with the loft chosen for the golfer of today. What is told alone must never be added up: each of
    the levers is worth less beside the others.
    ways and cautions: codes of schemas/lever_advice.toml.
    """

    lever: str
    quantity: str
    now: float
    step: float
    bound: str
    part: Brought
    alone: Brought
    ways: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LoftChoice:
    """A change of the club's loft [deg] and what it brings."""

    step_deg: float
    brings: Brought


@dataclass(frozen=True, slots=True)
class LoftAdvice:
    """The loft that carries farthest, and the one that goes farthest in all, within what a studio can fit.

    code: advised | carry_and_total_disagree | none. step_deg: the change advised, the smaller of the two, else 0.
    """

    code: str
    step_deg: float
    by_carry: LoftChoice
    by_total: LoftChoice


@dataclass(frozen=True, slots=True)
class Room:
    """What this golfer could still gain with this club, within bounds of his or her own.

    tier: as LeverStory. levers: those the columns and the kind of club allow, in the order club_speed, strike, attack,
    fit. together: all of them. carry_m and total_m: the averages then, None where they are not known now. loft_today
    and loft_then: for the golfer of today, and with the other levers moved; None where no loft is advised on.
    basis: as UnitWorth.
    """

    tier: str
    levers: tuple[LeverRoom, ...]
    together: Brought
    carry_m: float | None
    total_m: float | None
    loft_today: LoftAdvice | None
    loft_then: LoftAdvice | None
    basis: str


@dataclass(frozen=True, slots=True)
class Reached:
    """A flight on the line that loft alone can reach; loft_change_deg from the loft delivered now.

    What the golfer's own average is not known of is None.
    """

    loft_change_deg: float
    ball_speed_mps: float
    launch_angle_deg: float
    spin_rate_rpm: float
    carry_m: float | None
    total_m: float | None
    apex_m: float | None
    descent_angle_deg: float | None


@dataclass(frozen=True, slots=True)
class LaunchWindow:
    """Where on that line nearly nothing is lost of one distance, carry_m or total_m.

    best: for its distances; a report should name the bounds, between which less than `lost_share` of it is lost.
    place: in | too_low | too_high, where the golfer is now; gain_m: what the best is over it. apex: the best's height
    beside the 100 to 110 ft fitters name for fast players who hit up: in_trade_range | lower_because_slower |
    lower_because_steeper | higher, None where the own apex is not known.
    """

    quantity: str
    lost_share: float
    best: Reached
    launch_low_deg: float
    launch_high_deg: float
    spin_low_rpm: float
    spin_high_rpm: float
    place: str
    gain_m: float
    apex: str | None


@dataclass(frozen=True, slots=True)
class ReachableWindow:
    """The launch windows of a golfer; None where the farthest lies outside what the model is trusted with."""

    by_carry: LaunchWindow | None
    by_total: LaunchWindow | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """What lies ahead for one set: worth of each step, room and launch windows; None where the columns do not tell."""

    set_index: int
    worth: tuple[UnitWorth, ...] | None
    room: Room | None
    window: ReachableWindow | None


@dataclass(frozen=True, slots=True)
class Changes:
    """What is changed on a golfer's delivery, all else as it is.

    smash_factor: ball over club speed, at the delivery as it is; loft_deg: of the club; follow: how far the delivered
    loft goes with the attack, 1 with the club left as it is and the face turning with the arc, 0 with the loft held;
    spin_rate_rpm: at the same ball speed and launch, as another head or ball may give.
    """

    club_speed_mps: float = 0.0
    smash_factor: float = 0.0
    attack_angle_deg: float = 0.0
    loft_deg: float = 0.0
    spin_rate_rpm: float = 0.0
    follow: float = 1.0


@dataclass(frozen=True, slots=True)
class Changed:
    """One quantity before and after; measured and then are None where the golfer's own average is not known.

    basis: measured, where nothing moves | modelled | common_practice, where it rests on a spin nobody read.
    """

    quantity: str
    measured: float | None
    then: float | None
    difference: float
    basis: str


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What would become of ball and flight; outside_range: the flight is one the model is not trusted with."""

    changes: Changes
    tier: str
    values: tuple[Changed, ...]
    outside_range: bool
