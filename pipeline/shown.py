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
_UNITS = {
    "yards": {"length": "yd", "height": "ft", "speed": "mph", "temperature": "F"},
    "metres": {"length": "m", "height": "m", "speed": "km/h", "temperature": "C"},
}  # names of schemas/units.toml; what they are called on paper is the vocabulary's
_SUFFIXES = {"_mps": "speed", "_m": "length", "_deg": "angle", "_rpm": "spin", "_s": "time"}


def kind_of(name: str) -> str:
    """Tell how a quantity is shown: speed, length, height, side, angle, spin, time, ratio or count."""
    plain = name.removeprefix("expected_").removeprefix("middle_")
    if plain in _KINDS:
        return _KINDS[plain]
    return next((kind for suffix, kind in _SUFFIXES.items() if plain.endswith(suffix)), "count")


@dataclass(frozen=True)
class Shown:
    """How a studio shows numbers: system is yards or metres."""

    system: str
    words: Words

    def unit(self, kind: str) -> str:
        """Give the short name of the unit a kind is shown in."""
        known = self.words.get("units") | self.words.get(f"units.{self.system}") | {"angle": "°"}
        return str(known.get("length" if kind == "side" else kind, ""))

    def convert(self, value: float, kind: str) -> float:
        """Convert a stored value to the unit it is shown in."""
        shown_as = "length" if kind == "side" else kind
        dimension = "length" if kind in ("side", "height") else kind
        unit = _UNITS[self.system].get(shown_as)
        return units.unit(dimension, unit).from_stored(value) if unit else value

    def stored_step(self, kind: str) -> float:
        """Give one shown unit of a kind as a stored value."""
        return 1 / self.convert(1.0, kind)

    def plain(self, value: float, name: str, extra_digits: int = 0) -> str:
        """Write a stored value without its unit, as in a table; sideways without the word left or right."""
        kind = kind_of(name)
        digits = _DIGITS.get("length" if kind == "side" else kind, 0) + extra_digits
        return self.words.number(self.convert(value, kind), digits)

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
        amount = self.words.number(abs(self.convert(value, "side")))
        if amount == "0":
            return self.words.say("side.middle")
        return self.words.say("side.right" if value > 0 else "side.left", amount=f"{amount}{NBSP}{self.unit('side')}")

    def air(self, altitude_m: float, temperature_c: float) -> tuple[str, str]:
        """Write altitude and temperature of an air: feet and °F beside yards, else metres and °C."""
        stored = units.unit("temperature", "C").to_stored(temperature_c)
        return self._with_unit(altitude_m, "height"), self._with_unit(stored, "temperature")

    def _with_unit(self, value: float, kind: str) -> str:
        return f"{self.words.number(self.convert(value, kind))}{NBSP}{self.unit(kind)}"

    def distance(self, value: float, digits: int = 0) -> str:
        """Write the size of a distance in long words: `11 yards`, `1 yard`, and never `0 yards`."""
        amount = self.words.number(abs(self.convert(value, "length")), digits)
        if amount == "0":
            return str(self.words.get(f"units.{self.system}.length_under_one"))
        form = "one" if amount == "1" else "long"
        return f"{amount}{NBSP}{self.words.get(f'units.{self.system}.length_{form}')}"

    def percent(self, share: float) -> str:
        """Write a share in hundredths: `5 %`."""
        return self.words.say("units.percent", amount=self.words.number(100 * share))
