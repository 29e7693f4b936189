"""Writes inbox_example/: three visits of invented golfers, in three layouts no device is known to write.

Run it from the repository's top folder after changing it: python tests/make_inbox_example.py
The flights come from our own model, so these files check that the chain runs, never that the physics is right.
"""

import random
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from pipeline.physics.atmosphere import air_at
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import FIRMNESS, total_distance

FOLDER = Path(__file__).resolve().parent.parent / "inbox_example"
_MPH, _KMH, _YD = 0.44704, 1 / 3.6, 0.9144


@dataclass(frozen=True)
class Golfer:
    """How an invented golfer delivers a club: means, and the spread from shot to shot."""

    club_speed_mps: float
    ratio: float
    attack_deg: float
    launch_deg: float
    spin_rpm: float
    speed_spread: float = 0.012
    side_spread: float = 1.5


@dataclass(frozen=True)
class Shot:
    """One invented shot in SI, degrees and rpm."""

    club_speed: float
    ball_speed: float
    attack: float
    launch: float
    direction: float
    spin: float
    axis: float
    carry: float = 0.0
    total: float = 0.0
    side: float = 0.0
    apex: float = 0.0
    time: float = 0.0
    descent: float = 0.0


def swing(golfer: Golfer, dice: random.Random, *, strike: float = 1.0) -> Shot:
    """Hit one ball; strike below 1 is a mishit: less ball speed, other launch and spin."""
    club = golfer.club_speed_mps * dice.gauss(1, golfer.speed_spread)
    ball = club * golfer.ratio * strike * dice.gauss(1, 0.008)
    launch = golfer.launch_deg + dice.gauss(0, 0.9) - 25 * (1 - strike)
    spin = golfer.spin_rpm * dice.gauss(1, 0.07) * (1 + 1.5 * (1 - strike))
    return flown(
        Shot(club, ball, golfer.attack_deg + dice.gauss(0, 0.7), launch, dice.gauss(0, golfer.side_spread),
             spin, dice.gauss(1, 4))
    )  # fmt: skip


def flown(shot: Shot) -> Shot:
    """Let the ball fly and run in the studio's reference air."""
    launch = Launch.of(shot.ball_speed, np.radians(shot.launch), shot.spin * np.pi / 30, np.radians(shot.direction),
                       np.radians(shot.axis))  # fmt: skip
    flight = fly(launch, air_at(0.0, 293.15, 0.5))
    total = total_distance(flight, FIRMNESS["typical"])
    return replace(
        shot,
        carry=float(flight.carry_m[0]),
        total=float(total.total_m[0]),
        side=float(flight.offline_m[0]),
        apex=float(flight.apex_m[0]),
        time=float(flight.flight_time_s[0]),
        descent=float(np.degrees(flight.descent_angle_rad[0])),
    )


def driver_visit() -> str:
    """Three drivers, mph and yards, comma; a doubled spin, a wrong carry, a repeated row, three mishits."""
    dice = random.Random(142)  # noqa: S311 - invented shots, not secrets
    own = Golfer(42.4, 1.44, -2.0, 10.2, 3150)
    builds = {
        "Own driver": (own, 11),
        "Driver 2": (replace(own, ratio=1.452, launch_deg=11.6, spin_rpm=2850), 10),
        "Driver 3": (
            replace(own, club_speed_mps=42.9, ratio=1.472, launch_deg=13.1, spin_rpm=2480, attack_deg=-0.6),
            11,
        ),
    }
    shots = [(label, swing(golfer, dice)) for label, (golfer, n) in builds.items() for _ in range(n)]
    shots[4] = ("Own driver", swing(own, dice, strike=0.88))
    shots[16] = ("Driver 2", swing(builds["Driver 2"][0], dice, strike=0.86))
    shots[27] = ("Driver 3", swing(builds["Driver 3"][0], dice, strike=0.87))
    shots[8] = ("Own driver", replace(shots[8][1], spin=shots[8][1].spin * 2))
    shots[23] = ("Driver 3", replace(shots[23][1], carry=shots[23][1].carry - 24))
    shots.insert(19, shots[18])
    head = ("Shot,Club,Club speed (mph),Ball speed (mph),Attack angle (deg),Launch angle (deg),Launch direction (deg),"
            "Spin rate (rpm),Spin axis (deg),Carry (yd),Total (yd),Offline (yd),Apex (ft),Flight time (s)")  # fmt: skip
    lines = [
        f"{i},{label},{s.club_speed / _MPH:.1f},{s.ball_speed / _MPH:.1f},{s.attack:.1f},{s.launch:.1f},"
        f"{s.direction:.1f},{s.spin:.0f},{s.axis:.1f},{s.carry / _YD:.1f},{s.total / _YD:.1f},{s.side / _YD:.1f},"
        f"{s.apex / 0.3048:.0f},{s.time:.2f}"
        for i, (label, s) in enumerate(shots, 1)
    ]
    return "\n".join([head, *lines]) + "\n"


def iron_visit() -> str:
    """Two irons hit in turn, km/h and metres, tab, a units row, no carry; one zero spin, one fat shot."""
    dice = random.Random(207)  # noqa: S311
    own = Golfer(34.0, 1.34, -4.0, 17.5, 6600, side_spread=2.0)
    new = replace(own, ratio=1.36, launch_deg=18.4, spin_rpm=6300)
    golfers = {"Own 7 iron": own, "7 iron, build 2": new}
    order = [label for _ in range(3) for label in golfers for _ in range(4)]
    shots = [(label, swing(golfers[label], dice)) for label in order]
    shots[6] = (shots[6][0], swing(new, dice, strike=0.8))
    shots[17] = (shots[17][0], replace(shots[17][1], spin=0.0))
    head = "Shot\tClub\tClub speed\tBall speed\tAttack angle\tLaunch angle\tLaunch direction\tSpin rate\tSpin axis"
    units = "\t\tkm/h\tkm/h\tdeg\tdeg\tdeg\trpm\tdeg"
    lines = [
        f"{i}\t{label}\t{s.club_speed / _KMH:.1f}\t{s.ball_speed / _KMH:.1f}\t{s.attack:.1f}\t{s.launch:.1f}\t"
        f"{s.direction:.1f}\t{s.spin:.0f}\t{s.axis:.1f}"
        for i, (label, s) in enumerate(shots, 1)
    ]
    return "\r\n".join([head, units, *lines]) + "\r\n"


def phases_visit() -> str:
    """One driver, the ball teed as always, then higher; German words, decimal comma, preamble, footer, no axis."""
    dice = random.Random(311)  # noqa: S311
    as_always = Golfer(38.2, 1.45, -1.5, 10.8, 3050)
    higher = replace(as_always, attack_deg=1.4, launch_deg=13.4, spin_rpm=2700, ratio=1.452)
    phases = [("Ball wie immer", as_always), ("Ball höher aufgeteet", higher)]
    shots = [(note, swing(golfer, dice)) for note, golfer in phases for _ in range(9)]
    shots[11] = (shots[11][0], swing(higher, dice, strike=0.85))
    head = (
        "Nr;Schläger;Bemerkung;Schlägerkopfgeschwindigkeit (km/h);Ballgeschwindigkeit (km/h);Eintreffwinkel (°);"
        "Abflugwinkel (°);Spinrate (1/min);Carry (m)"
    )
    preamble = ["Erfundene Daten;Beispiel", "Datum;2026-11-24", "Platz;2", ""]
    rows = [
        f"{i};Eigener Driver;{note};{s.club_speed / _KMH:.1f};{s.ball_speed / _KMH:.1f};{s.attack:.1f};{s.launch:.1f};"
        f"{s.spin:.0f};{s.carry:.1f}".replace(".", ",")
        for i, (note, s) in enumerate(shots, 1)
    ]
    carry = sum(s.carry for _, s in shots) / len(shots)
    footer = f"Mittelwert;;;;;;;;{carry:.1f}".replace(".", ",")
    return "\r\n".join([*preamble, head, *rows, "", footer]) + "\r\n"


VISIT_TOML = """# Invented example: no such customer, no such clubs.
customer = "Customer 0142"
date = 2026-11-25
hand = "right"
own_club = "Own driver"
notes = "Invented example. Started with the customer's own driver, then two builds with more loft and less spin."

[[build]]
label = "Own driver"
category = "driver"
loft_deg = 9.5
length_in = 45.5
[[build]]
label = "Driver 2"
category = "driver"
head = "Head B"
loft_deg = 10.5
shaft = "Shaft 2"
[[build]]
label = "Driver 3"
category = "driver"
head = "Head C"
loft_deg = 10.5
shaft = "Shaft 3"
"""

STUDIO_TOML = """name = "Example studio (all data invented)"
address_line = "no such street 1"
"""

READ_ME = """# An example drop folder

Three visits of invented golfers with invented clubs; `tests/make_inbox_example.py` wrote them. No measured data, no
persons. `baywright demo` copies them into a new studio folder and makes their reports.

- `customer 0142/`: a folder with `visit.toml`; comma, mph and yards, units in the headings. Planted: a doubled spin,
  a carry 26 yards off, a repeated row, three mishits.
- `customer 0207 irons.tsv`: tab, km/h, a row of units, no carry (the flight model fills in). Planted: a spin of 0, a
  fat shot.
- `customer 0311 driver.csv`: semicolon, decimal comma, German words in a legacy code page, preamble and footer; one
  club hit in two ways. Planted: a mishit.
"""


def write(folder: Path) -> None:
    """Write the example."""
    visit = folder / "customer 0142"
    visit.mkdir(parents=True, exist_ok=True)
    (visit / "visit.toml").write_text(VISIT_TOML, encoding="utf-8")
    (visit / "driver shots.csv").write_text(driver_visit(), encoding="utf-8")
    (folder / "customer 0207 irons.tsv").write_text(iron_visit(), encoding="utf-8", newline="")
    (folder / "customer 0311 driver.csv").write_text(phases_visit(), encoding="cp1252", newline="")
    (folder / "README.md").write_text(READ_ME, encoding="utf-8")
    (folder / "studio.toml").write_text(STUDIO_TOML, encoding="utf-8")


if __name__ == "__main__":
    write(FOLDER)
