"""Impact of a club head and a ball as two free rigid bodies with one short impulse, in three dimensions.

Axes inside: x towards the target, y to its left, z up. Angles point up and to the right. A head is a right-handed one,
its toe to the right of its face; for a left-handed golfer change the signs of path, face, direction and spin axis
before and after. Speed lost off the centre, gear effect, spin, spin axis and launch direction all come out of the one
impulse.
"""

from dataclasses import astuple, dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.constants import (
    BALL_DROP_M,
    BALL_INERTIA_SHARE,
    BALL_MASS_KG,
    BALL_RADIUS_M,
    COR_SLOPE_SPM,
    COR_TEST_SPEED_MPS,
)
from pipeline.physics.flight import Launch
from pipeline.physics.strike import SPIN_ARM_M

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BALL_INERTIA_KGM2: Final = BALL_INERTIA_SHARE * BALL_MASS_KG * BALL_RADIUS_M**2

# Friction between a dry face and a soft cover at 12.8 m/s of sliding: Gobush 1996 in Penner 2003, p. 149 (second-hand).
# It falls to 0.29 at 26.8 m/s, and a hard cover had 0.16 and 0.075; neither is modelled.
FRICTION: Final = 0.38


@dataclass(frozen=True, slots=True)
class Head:
    """A club head as the impact needs it.

    Parameters: mass_kg, above 0 [kg]; restitution, at 40.5 m/s in line with the centre of gravity, 0 to 1 [1];
    inertia_normal_kgm2, inertia_side_kgm2 and inertia_up_kgm2, moments about axes through the centre of gravity out of
    the face, along it from heel to toe (loft twist) and up it (face twist), above 0 [kg m2]; depth_m, centre of gravity
    behind the face, and centre_high_m and centre_toe_m, above and toe-ward of the face's centre [m]; bulge_m and
    roll_m, the face's radii from heel to toe and from sole to crown, above 0, inf for a flat face [m]; friction, 0 or
    more [1]; stick, impulse along the face over the one that just ends the sliding, 0 to below 2: 1 leaves the ball
    rolling, 2 would give back all the sliding, less than 1 is a ball that yields [1]; drop_m, how far the squashed
    ball's centre of mass lies below the line of the normal force, less than the ball's radius either way [m].
    Returns: a frozen record of scalars.
    Valid range: impossible values are a ValueError. The axes named are taken for principal axes. Restitution falls only
    by the head's turning away from the centre, because no figure for the face itself was found: speed lost there is
    understated.
    Source: definition.
    """

    mass_kg: float
    restitution: float
    inertia_normal_kgm2: float
    inertia_side_kgm2: float
    inertia_up_kgm2: float
    depth_m: float = 0.0
    centre_high_m: float = 0.0
    centre_toe_m: float = 0.0
    bulge_m: float = np.inf
    roll_m: float = np.inf
    friction: float = FRICTION
    stick: float = 1.0
    drop_m: float = 0.0

    def __post_init__(self) -> None:
        above_zero = (
            self.mass_kg,
            self.inertia_normal_kgm2,
            self.inertia_side_kgm2,
            self.inertia_up_kgm2,
            self.bulge_m,
            self.roll_m,
        )
        possible = (
            not np.isnan(astuple(self)).any()
            and min(above_zero) > 0.0
            and 0.0 <= self.restitution <= 1.0
            and self.friction >= 0.0
            and 0.0 <= self.stick < 2.0
            and abs(self.drop_m) < BALL_RADIUS_M
        )
        if not possible:
            message = f"no head is like this: {self!r}"
            raise ValueError(message)


# Examples, no source: the usual order of size in round numbers. Only the restitutions are published: the limit of the
# rules, and a face without spring (both read, in an article of a governing body and one of its former director's).
EXAMPLE_DRIVER: Final = Head(
    mass_kg=0.200,
    restitution=0.822,
    inertia_normal_kgm2=0.0003,
    inertia_side_kgm2=0.0004,
    inertia_up_kgm2=0.0005,
    depth_m=0.040,
    bulge_m=0.300,
    roll_m=0.300,
    drop_m=BALL_DROP_M,
)
EXAMPLE_IRON: Final = Head(
    mass_kg=0.270,
    restitution=0.78,
    inertia_normal_kgm2=0.0003,
    inertia_side_kgm2=0.00007,
    inertia_up_kgm2=0.00025,
    depth_m=0.005,
)
EXAMPLE_WEDGE: Final = Head(
    mass_kg=0.300,
    restitution=0.78,
    inertia_normal_kgm2=0.0003,
    inertia_side_kgm2=0.00009,
    inertia_up_kgm2=0.0003,
)


class Delivery(NamedTuple):
    """How the head meets the ball, scalars and arrays of shape (n,), broadcast against each other.

    Parameters: club_speed_mps, of the head's centre of gravity, above 0 [m/s]; attack_rad, upwards positive, and
    path_rad, to the right positive, of its motion [rad]; loft_rad and face_rad, of the normal at the face's centre
    above the horizontal and to the right of the target [rad].
    Returns: a named tuple.
    Valid range: all angles within a quarter turn either way, the face meeting the ball; see `strike`.
    Source: definition.
    """

    club_speed_mps: ArrayLike
    attack_rad: ArrayLike
    path_rad: ArrayLike
    loft_rad: ArrayLike
    face_rad: ArrayLike


class Struck(NamedTuple):
    """What `strike` returns, arrays of shape (n,).

    Parameters: launch, of the ball, ready for `fly`; slid, whether the friction was too little for the impulse asked
    for, so that the ball slid on the face until it left.
    Returns: a named pair.
    Valid range: as `strike`.
    Source: definition.
    """

    launch: Launch
    slid: BoolArray


class Face(NamedTuple):
    """Direction of a face's normal, arrays of shape (n,).

    Parameters: loft_rad, above the horizontal [rad]; face_rad, right of the target [rad].
    Returns: a named pair.
    Valid range: as the function that made it.
    Source: definition.
    """

    loft_rad: FloatArray
    face_rad: FloatArray


def strike(delivery: Delivery, head: Head, toe_m: ArrayLike = 0.0, high_m: ArrayLike = 0.0) -> Struck:
    """Launch of the ball after one impact.

    Parameters: delivery; head; toe_m and high_m, the contact point from the face's centre, toe-ward and up the face,
    scalars or (n,) [m].
    Returns: Struck of shape (n,), n = 1 for scalars alone. The spin has no part along the ball's velocity, because one
    impulse at one point can give none.
    Valid range: the restitution's slope was measured from 20 to 45 m/s. NaN where an input is outside its domain or not
    finite, where the face does not move into the ball, and where the restitution would leave 0 to 1 (with 0.822 above
    about 330 m/s). The shaft adds less than 3 g (Proceedings 2020, 49, 47, read) and is left out. While the ball slides
    the friction keeps the direction it would have had without the cap.
    Source: impulse J with K J = change of the relative velocity of the contact points, K = (1/m + 1/M) 1 -
    [r_b] I_b^-1 [r_b] - [r_h] I_h^-1 [r_h], [r] the cross-product matrix; Newton's restitution along the normal,
    `stick` and Coulomb's cap along the face (mathematics of rigid bodies, derived; rolling as in Penner 2001,
    second-hand).
    """
    given = (*delivery, toe_m, high_m)
    columns = np.array(np.broadcast_arrays(*(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in given)))
    speed, attack, path, loft, face, toe, high = columns
    with np.errstate(invalid="ignore", over="ignore"):
        contact, lever, mobility = _contact(_frame(loft, face), head, toe, high)
        meeting = _turned(contact, speed[:, None] * _frame(attack, path)[:, 0])
        bounce = head.restitution + COR_SLOPE_SPM * (meeting[:, 0] - COR_TEST_SPEED_MPS)
        good = np.isfinite(columns).all(axis=0) & (np.abs(columns[1:5]) < np.pi / 2.0).all(axis=0)
        good &= (speed > 0.0) & (meeting[:, 0] > 0.0) & (bounce >= 0.0) & (bounce <= 1.0)
    impulse, slid = np.full(meeting.shape, np.nan), np.zeros(good.shape, dtype=np.bool_)
    matrix = _collision_matrix(lever[good], mobility[good], head)
    impulse[good], slid[good] = _impulse(matrix, meeting[good], bounce[good], head)
    moment = np.cross(np.array((-BALL_RADIUS_M, 0.0, head.drop_m)), impulse)
    back = np.swapaxes(contact, 1, 2)
    return Struck(_launch(_turned(back, impulse) / BALL_MASS_KG, _turned(back, moment) / BALL_INERTIA_KGM2), slid)


def face_from_ball(launch: Launch, drop_m: float = 0.0) -> Face:
    """Delivered loft and face angle at the contact point, from the ball alone, whatever the club did.

    Parameters: launch, n shots; drop_m, as for Head, less than the ball's radius either way [m].
    Returns: Face of shape (n,).
    Valid range: NaN where the launch or the drop is outside its domain or not finite, and where the spin is more than
    one impulse on the face can give at this ball speed. Which drop is right is not known shot by shot: 0.5 mm moves
    every loft by the same 1.34 degrees. Exact for an impulse at one point; 100 rpm of spin, of a drive at 70 m/s,
    stand for 0.07 degrees.
    Source: spin and speed along the face come from one impulse, so with q the normal turned down by atan(drop/R),
    v x q = 0.4 R w cos(atan(drop/R)) (derived).
    """
    frame = _frame(launch.launch_angle_rad, launch.launch_direction_rad)
    ahead, left, up = frame[:, 0], frame[:, 1], frame[:, 2]
    tilt = np.arctan(drop_m / BALL_RADIUS_M)
    # The part across the velocity of an axis that has none along the horizontal launch direction.
    across = np.cos(launch.spin_axis_rad)
    upright = -np.sin(launch.spin_axis_rad) * np.cos(launch.launch_angle_rad)
    length = np.hypot(across, upright)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = SPIN_ARM_M * np.cos(tilt) * launch.spin_rate_radps / launch.ball_speed_mps
        axis = (upright / length)[:, None] * up - (across / length)[:, None] * left
        turned = np.sqrt(1.0 - share**2)[:, None] * ahead + share[:, None] * np.cross(axis, ahead)
        good = (launch.ball_speed_mps > 0.0) & (np.abs(share) < 1.0) & (abs(drop_m) < BALL_RADIUS_M)
        good &= np.abs(launch.launch_angle_rad) < np.pi / 2.0
    loft, face = angles(turned)
    return Face(np.where(good, loft + tilt, np.nan), np.where(good, face, np.nan))


def angles(vectors: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Angles of vectors above the horizontal and to the right of the target.

    Parameters: vectors (..., 3), towards the target, left of it and up, any length above 0.
    Returns: two arrays (...) [rad], -pi/2 to pi/2 and -pi to pi.
    Valid range: a vector of length 0 gives 0 and 0; NaN stays NaN.
    Source: geometry.
    """
    ahead, left, up = np.moveaxis(vectors, -1, 0)
    return np.arctan2(up, np.hypot(ahead, left)), np.arctan2(-left, ahead)


def _frame(up: FloatArray, right: FloatArray) -> FloatArray:
    """Axes of a direction, (n, 3 axes, 3 parts): along it, level to its left, and upwards in its upright plane."""
    zero = np.zeros_like(up)
    along = (np.cos(up) * np.cos(right), -np.cos(up) * np.sin(right), np.sin(up))
    left = (np.sin(right), np.cos(right), zero)
    upwards = (-np.sin(up) * np.cos(right), np.sin(up) * np.sin(right), np.cos(up))
    return np.moveaxis(np.array((along, left, upwards)), -1, 0)


def _turned(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    turned: FloatArray = np.einsum("nij,nj->ni", matrices, vectors)
    return turned


def _contact(
    centre: FloatArray, head: Head, toe: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Axes at the contact point, and in them the lever from the head's centre of gravity and the inverse tensor."""
    local = _frame(high / head.roll_m, toe / head.bulge_m)[:, 0]
    contact = _frame(*angles(_turned(np.swapaxes(centre, 1, 2), local)))
    # A curved face falls back from its centre by the height of the arc.
    behind = head.depth_m - 0.5 * (toe**2 / head.bulge_m + high**2 / head.roll_m)
    lever = np.stack((behind, head.centre_toe_m - toe, high - head.centre_high_m), axis=-1)
    turn = contact @ np.swapaxes(centre, 1, 2)
    mobility = 1.0 / np.array((head.inertia_normal_kgm2, head.inertia_side_kgm2, head.inertia_up_kgm2))
    return contact, _turned(turn, lever), (turn * mobility) @ np.swapaxes(turn, 1, 2)


def _collision_matrix(lever: FloatArray, mobility: FloatArray, head: Head) -> FloatArray:
    """Change of the contact points' relative velocity per impulse, (n, 3, 3) [1/kg]."""
    of_head = _cross_matrix(lever)
    of_ball = _cross_matrix(np.array((-BALL_RADIUS_M, 0.0, head.drop_m)))
    apart = (1.0 / BALL_MASS_KG + 1.0 / head.mass_kg) * np.eye(3)
    return apart - of_ball @ of_ball / BALL_INERTIA_KGM2 - of_head @ mobility @ of_head


def _cross_matrix(vectors: FloatArray) -> FloatArray:
    """Matrices that multiply a vector as a cross product does, (..., 3, 3)."""
    return np.moveaxis(np.cross(vectors[..., None, :], np.eye(3)), -1, -2)


def _impulse(matrix: FloatArray, meeting: FloatArray, bounce: FloatArray, head: Head) -> tuple[FloatArray, BoolArray]:
    """Impulse on the ball in the axes of the contact point (n, 3) [N s], and whether the ball slid."""
    rebound = (1.0 + bounce) * meeting[:, 0]
    coupling, along = matrix[:, 0, 1:], matrix[:, 1:, 1:]
    # What along the face ends the sliding there was, and the sliding that one unit of normal impulse makes.
    ends_own, ends_made = (np.linalg.solve(along, x[..., None])[..., 0] for x in (meeting[:, 1:], coupling))
    normal = (rebound - head.stick * np.einsum("ni,ni->n", coupling, ends_own)) / (
        matrix[:, 0, 0] - head.stick * np.einsum("ni,ni->n", coupling, ends_made)
    )
    grip = head.stick * (ends_own - normal[:, None] * ends_made)
    size = np.linalg.norm(grip, axis=-1)
    slid = size > head.friction * normal
    capped = head.friction * grip / np.where(size > 0.0, size, 1.0)[:, None]
    sliding = rebound / (matrix[:, 0, 0] + np.einsum("ni,ni->n", coupling, capped))
    normal = np.where(slid, sliding, normal)
    grip = np.where(slid[:, None], sliding[:, None] * capped, grip)
    return np.concatenate((normal[:, None], grip), axis=-1), slid


def _launch(velocity: FloatArray, spin: FloatArray) -> Launch:
    """Launch of balls with these velocities and spins, (n, 3)."""
    angle, direction = angles(velocity)
    frame = _frame(angle, direction)
    across, upright = -np.einsum("ni,ni->n", spin, frame[:, 1]), np.einsum("ni,ni->n", spin, frame[:, 2])
    # A launch's axis has no part along the horizontal launch direction: the one with the same lift.
    tilt = np.arctan2(-upright, across * np.cos(angle))
    return Launch(np.linalg.norm(velocity, axis=-1), angle, direction, np.linalg.norm(spin, axis=-1), tilt)
