"""Invented visits as varied as old exports are: layouts, units, sets, phases, misreads, mishits, visit.toml or none."""

import random
from dataclasses import dataclass

from pipeline.records import ShotFile

_CLUBS = (
    ("Own driver", "Driver 2", "Driver 3"),
    ("7 iron", "7 iron head B", "6 iron"),
    ("Driver", "3 wood", "Wedge 56"),
    ("club A", "club B", "club C"),
    ("PW", "SW", "Wedge 52"),
)
# heading of each quantity with its unit, and how many of that unit are one of ours (mph, deg, rpm, yd)
_YARDS = {
    "club_speed": ("Club speed (mph)", 1.0), "ball_speed": ("Ball speed (mph)", 1.0), "smash": ("Smash factor", 1.0),
    "launch": ("Launch angle (deg)", 1.0), "side": ("Launch direction (deg)", 1.0), "spin": ("Spin rate (rpm)", 1.0),
    "axis": ("Spin axis (deg)", 1.0), "attack": ("Attack angle (deg)", 1.0), "carry": ("Carry (yd)", 1.0),
    "total": ("Total (yd)", 1.0), "offline": ("Offline (yd)", 1.0), "apex": ("Apex (ft)", 1.0),
    "descent": ("Descent angle (deg)", 1.0), "backspin": ("Backspin (rpm)", 1.0), "sidespin": ("Sidespin (rpm)", 1.0),
}  # fmt: skip
_METRES = _YARDS | {
    "club_speed": ("Club speed (km/h)", 1.609344), "ball_speed": ("Ball speed (m/s)", 0.44704),
    "carry": ("Carry (m)", 0.9144), "total": ("Total (m)", 0.9144), "offline": ("Offline (m)", 0.9144),
    "apex": ("Apex (m)", 0.3048),
}  # fmt: skip
_LAYOUTS = (
    ("club_speed", "ball_speed", "smash", "launch", "side", "spin", "axis", "carry", "total", "offline", "apex"),
    ("ball_speed", "launch", "spin"),
    ("club_speed", "ball_speed", "launch", "side", "backspin", "sidespin", "carry"),
    ("ball_speed", "launch", "side", "spin", "carry", "offline", "descent"),
    ("club_speed", "ball_speed", "attack", "launch", "spin", "carry"),
    ("ball_speed", "carry"),
)


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit's files, visit.toml among them if it has one."""

    name: str
    files: tuple[ShotFile, ...]


def visit(seed: int) -> Visit:
    """Give one of them; most are usable, some need an answer, some are no shots at all."""
    draw = random.Random(seed)  # noqa: S311 - figures for a test
    kind = draw.random()
    if kind < 0.04:
        words = draw.choice([b"", b"no table", b"Club,Ball speed,Carry\nDriver,150,250\nDriver,151,251\n", b"\x00\x01"])
        return Visit(f"visit {seed}", (ShotFile(f"visit {seed}.csv", words),))
    count = draw.choice([1, 1, 1, 2, 3])
    files = [ShotFile(f"{'abc'[place]} {seed}.csv", _file(draw, seed)) for place in range(count)]
    if count > 1 or kind < 0.4:
        files.append(ShotFile("visit.toml", _facts(draw, files[0].name).encode()))
    return Visit(f"visit {seed}", tuple(files))


def visits(count: int, first: int = 0) -> list[Visit]:
    """Give many."""
    return [visit(first + number) for number in range(count)]


def _file(draw: random.Random, seed: int) -> bytes:
    columns = draw.choice(_LAYOUTS)
    words = draw.choice([_YARDS, _METRES])
    comma = draw.random() < 0.2
    dated, noted = draw.random() < 0.6, draw.random() < 0.3
    sep = ";" if comma else ","
    head = ["Date"] * dated + ["Club"] + [words[name][0] for name in columns] + ["Notes"] * noted
    lines = [sep.join(head)]
    clubs = draw.choice(_CLUBS)[: draw.choice([1, 2, 3, 3])]
    day = f"{2017 + seed % 9}-{1 + seed % 12:02}-{1 + seed % 28:02}"
    speed = draw.uniform(75, 110)
    made: list[dict[str, float]] = []
    for place, club in enumerate(clubs):
        for number in range(draw.choice([2, 4, 5, 7, 9, 14])):
            shot = _shot(draw, speed - 6 * place, 11 + 4 * place, 2600 + 1500 * place)
            if made and draw.random() < 0.03:
                shot = made[-1]
            made.append(shot)
            cells = [_cell(draw, shot[name] * words[name][1], name) for name in columns]
            note = draw.choice(["", "ball teed higher"]) if number > 3 else ""
            row = [f"{day} 10:{len(lines) % 60:02}:00"] * dated + [club] + cells + [note] * noted
            lines.append(sep.join(cell.replace(".", ",") if comma and cell != club else cell for cell in row))
    if draw.random() < 0.15:
        lines.insert(draw.randrange(1, len(lines)), "a line that is no shot")
    return ("\n".join(lines) + "\n").encode()


def _shot(draw: random.Random, club_speed: float, launch: float, spin: float) -> dict[str, float]:
    speed, smash = draw.gauss(club_speed, 1.2), draw.gauss(1.44, 0.02)
    odd = draw.random()
    if odd < 0.05:  # a mishit
        smash *= 0.85
    ball, axis = speed * smash, draw.gauss(0, 4)
    if odd > 0.97:  # a misread club speed
        speed *= 0.8
    angle, turns = draw.gauss(launch, 1), draw.gauss(spin, 180) * (3 if 0.05 < odd < 0.07 else 1)
    carry = ball * 1.62 + draw.gauss(0, 3) - (60 if 0.07 < odd < 0.09 else 0)
    return {
        "club_speed": speed, "ball_speed": ball, "smash": smash + (0.2 if 0.09 < odd < 0.1 else 0), "launch": angle,
        "side": draw.gauss(0, 2), "spin": 0.0 if 0.1 < odd < 0.13 else turns, "axis": axis,
        "attack": angle + 3 if 0.13 < odd < 0.15 else draw.gauss(-1, 1), "carry": carry,
        "total": carry + (-20 if 0.15 < odd < 0.16 else 15), "offline": draw.gauss(0, 9),
        "apex": draw.gauss(90, 5), "descent": draw.gauss(38, 2), "backspin": turns * 0.98, "sidespin": turns * 0.1,
    }  # fmt: skip


def _cell(draw: random.Random, value: float, name: str) -> str:
    if draw.random() < 0.02:
        return ""
    return f"{value:.2f}" if name == "smash" else f"{value:.0f}" if "spin" in name else f"{value:.1f}"


def _facts(draw: random.Random, file: str) -> str:
    lines = []
    if draw.random() < 0.5:
        lines.append(f'customer = "Customer {draw.randrange(40):04}"')
    if draw.random() < 0.4:
        lines.append(f'hand = "{draw.choice(["left", "right"])}"')
    if draw.random() < 0.3:
        lines.append(f'bay = "Bay {draw.randrange(3)}"')
    if draw.random() < 0.2:
        lines.append('own_club = "driver 2"')
    if draw.random() < 0.2:
        lines.append("date = 2016-02-03")
    if draw.random() < 0.03:
        lines.append('colour = "red"')
    if draw.random() < 0.4:
        lines += ["[[build]]", 'label = "7 iron head B"', 'head = "head B"', "loft_deg = 31.5", 'shaft = "S 95"']
    if draw.random() < 0.3:
        counts = draw.choice(["true", "false"])
        lines += ["[[shot]]", f'file = "{file}"', f"line = {draw.randrange(2, 9)}", f"counts = {counts}"]
        lines += ['reason = "as the golfer said"']
    return "\n".join(lines) + "\n"
