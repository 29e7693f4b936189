"""What is said of a bay's device, in both languages. All bays are invented."""

import datetime as dt
import math
import re

import pytest

from pipeline import bay_words
from pipeline.analysis.drift import QUANTILE_OF, RULES
from pipeline.rollup_records import BayWatch, DriftAlarm, DriftWatch
from pipeline.vocabulary import languages, words


def watched(
    quantity: str = "smash_factor", size: float | None = None, *, mean: float = 1.48, state: str = "", bay: str = "2"
) -> BayWatch:
    alarm = None
    if size is not None:
        way = "up" if size > 0 else "down"
        alarm = DriftAlarm(quantity, 61, "2026-03-03", 66, "2026-03-09", way, size, 3.0, 23, 21)
    state = state or ("drifting" if alarm else "steady")
    return BayWatch("s", bay, "driver", DriftWatch(quantity, state, 84, 2, mean, 0.0076, 0.047, alarm))


EN, DE = words("en"), words("de")


@pytest.mark.parametrize(
    ("quantity", "size", "mean", "english", "german"),
    [
        ("smash_factor", 0.0148, 1.48,
         "Bay 2 reads the ball/club ratio higher since 3 March 2026: by about 0.015 (1.0 %), seen in 23 visits.",
         "Box 2 misst seit dem 3. März 2026 ein höheres Verhältnis Ball/Schläger: um etwa 0,015 (1,0 %), gesehen bei"),
        ("smash_factor", -0.0296, 1.48, "ratio lower since 3 March 2026: by about 0.030 (2.0 %)", "ein niedrigeres"),
        ("carry_over_modelled", 0.031, 0.99, "Bay 2 reads carry longer since 3 March 2026,", "ein längeres Carry"),
        ("carry_over_modelled", -0.031, 0.99, "make likely: by about 3.1 %, seen", "ein kürzeres Carry"),
        ("spin_rate_rpm", 214.4, 2600, "reads more spin since 3 March 2026: about 214 rpm more", "etwa 214 U/min mehr"),
        ("spin_rate_rpm", -214.4, 0, "less spin since 3 March 2026: about 214 rpm less", "etwa 214 U/min weniger"),
    ],
)  # fmt: skip
def test_an_alarm_says_bay_day_direction_and_size(
    quantity: str, size: float, mean: float, english: str, german: str
) -> None:
    said = bay_words.sentence(EN, watched(quantity, size, mean=mean)).replace("\u00a0", " ")
    assert english in said
    assert re.search(r"Check .*calibration", said)
    said = bay_words.sentence(DE, watched(quantity, size, mean=mean)).replace("\u00a0", " ")
    assert german in said
    assert re.search(r"Prüfen Sie .*Kalibrierung", said)


def test_no_alarm_says_how_much_is_known() -> None:
    assert bay_words.sentence(EN, watched()) == "Bay 2, ball/club ratio: steady over 84 visits."
    learning = bay_words.sentence(EN, watched("spin_rate_rpm", state="learning", mean=math.nan))
    assert learning == f"Bay 2, spin: nothing can be said yet; 84 of the {RULES.reference} visits needed are known."
    assert bay_words.sentence(DE, watched("spin_rate_rpm")) == "Box 2, Spinrate: unverändert über 84 Besuche."


@pytest.mark.parametrize(
    ("bay", "name"),
    [("2", "Bay 2"), ("B", "Bay B"), ("2b", "Bay 2b"), ("#3", "Bay #3"), ("Bay 2", "Bay 2"),
     ("Front left", "Front left"), ("", "The bay that nobody named"), ("{0}", "Bay {0}"), ("{day}", "{day}"),
     ("é", "Bay é")],
)  # fmt: skip
def test_a_bay_is_called_as_the_studio_calls_it(bay: str, name: str) -> None:
    assert bay_words.bay_name(EN, bay) == name
    assert bay_words.sentence(EN, watched(size=0.01, bay=bay)).startswith(f"{name} reads")


def test_false_alarms_are_owned_up_to() -> None:
    said = bay_words.false_alarms(EN, watched().watch).replace("\u00a0", " ")
    assert said == "Of devices that are right, about 5 % raise an alarm within 100 visits all the same."


@pytest.mark.parametrize("language", languages())
def test_every_quantity_state_and_direction_has_words(language: str) -> None:
    known = words(language)
    for quantity in QUANTILE_OF:
        for size in (0.01, -0.01):
            said = bay_words.sentence(known, watched(quantity, size))
            assert known.day(dt.date(2026, 3, 3)) in said
        for state in ("steady", "learning"):
            assert known.get(f"bays.quantity.{quantity}") in bay_words.sentence(known, watched(quantity, state=state))
    assert set(known.get("bays.quantity")) == set(QUANTILE_OF)
