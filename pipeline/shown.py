"""The door out: stored values → numbers and words as the studio shows them. Nothing else converts on the way out."""

from dataclasses import dataclass

from pipeline import units
from pipeline.vocabulary import Words

NBSP = "\u00a0"  # between a number and its unit: they stay on one line
_DIGITS = {"speed": 1, "length": 0, "height": 0, "angle": 1, "spin": 0, "time": 1, "ratio": 2}
_KINDS = {
    "apex_m": "height",
    "offline_m": "side",
    "smash_factor": "ratio",
    "printed_ratio": "ratio",
    "speeds_ratio": "ratio",
    "ratio": "ratio",
}
_SUFFIXES = {"_mps": "speed", "_m": "length", "_deg": "angle", "_rpm": "spin", "_s": "time"}


def kind_of(name: str) -> str:
    """Tell how a quantity is shown: speed, length, height, side, angle, spin, time, ratio or count."""
    plain = name.removeprefix("expected_").removeprefix("middle_")
    if plain in _KINDS:
        return _KINDS[plain]
    return next((kind for suffix, kind in _SUFFIXES.items() if plain.endswith(suffix)), "count")


def number(value: float, digits: int) -> str:
    """Write a number with a true minus and no sign on a rounded zero."""
    text = f"{abs(value):.{digits}f}"
    return text if value >= 0 or float(text) == 0 else "−" + text


@dataclass(frozen=True)
class Shown:
    """How a studio shows numbers: system is yards or metres."""

    system: str
    words: Words

    def unit(self, kind: str) -> str:
        """Give the short name of the unit a kind is shown in."""
        if kind in ("length", "side"):
            return str(self.words.get(f"units.{self.system}.length"))
        if kind in ("height", "speed"):
            return str(self.words.get(f"units.{self.system}.{kind}"))
        return {"angle": "°", "spin": "rpm", "time": "s"}.get(kind, "")

    def convert(self, value: float, kind: str) -> float:
        """Convert a stored value to the unit it is shown in."""
        dimension = {"side": "length", "height": "length"}.get(kind, kind)
        if dimension in ("length", "speed"):
            return units.unit(dimension, self.unit(kind)).from_stored(value)
        return value

    def stored_step(self, kind: str) -> float:
        """Give one shown unit of a kind as a stored value."""
        return 1 / self.convert(1.0, kind)

    def plain(self, value: float, name: str, extra_digits: int = 0) -> str:
        """Write a stored value without its unit, as in a table; sideways with L or R left to the caller."""
        kind = kind_of(name)
        digits = _DIGITS.get("length" if kind == "side" else kind, 0) + extra_digits
        return number(self.convert(value, kind), digits)

    def full(self, value: float, name: str) -> str:
        """Write a stored value with its unit; a side with the word left or right."""
        kind = kind_of(name)
        if kind == "side":
            return self.side(value)
        unit = self.unit(kind)
        return self.plain(value, name) + (
            "" if kind in ("ratio", "count") else unit if unit == "°" else f"{NBSP}{unit}"
        )

    def side(self, value: float) -> str:
        """Write a sideways distance: `8 yd right`, or `on line` when it rounds to nothing."""
        amount = number(abs(self.convert(value, "side")), 0)
        if amount == "0":
            return self.words.say("side.middle")
        return self.words.say("side.right" if value > 0 else "side.left", amount=f"{amount}{NBSP}{self.unit('side')}")

    def air(self, altitude_m: float, temperature_c: float) -> tuple[str, str]:
        """Write altitude and temperature of an air: feet and °F beside yards, else metres and °C."""
        if self.system == "metres":
            return f"{number(altitude_m, 0)}{NBSP}m", f"{number(temperature_c, 0)}{NBSP}°C"
        feet = units.unit("length", "ft").from_stored(altitude_m)
        fahrenheit = units.unit("temperature", "F").from_stored(units.unit("temperature", "C").to_stored(temperature_c))
        return f"{number(feet, 0)}{NBSP}ft", f"{number(fahrenheit, 0)}{NBSP}°F"

    def distance(self, value: float) -> str:
        """Write the size of a distance in long words: `11 yards`."""
        long = self.words.get(f"units.{self.system}.length_long")
        return f"{number(abs(self.convert(value, 'length')), 0)}{NBSP}{long}"
