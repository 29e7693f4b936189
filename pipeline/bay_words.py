"""What the manager is told of a bay's device: one sentence a watch, in words of [bays]."""

import datetime as dt
import re

from pipeline.analysis.drift import RULES
from pipeline.rollup_records import BayWatch, DriftAlarm, DriftWatch
from pipeline.vocabulary import Words


def sentence(words: Words, of: BayWatch) -> str:
    """Say whether a quantity of a bay has drifted, since when and how far, or that it is too early to tell."""
    watch, bay = of.watch, bay_name(words, of.bay)
    if watch.alarm:
        return words.say(f"bays.{watch.quantity}_{watch.alarm.direction}", bay=bay, **_sizes(words, watch, watch.alarm))
    quantity = words.get(f"bays.quantity.{watch.quantity}")
    return words.say(f"bays.{watch.state}", bay=bay, quantity=quantity, used=watch.used, needed=RULES.reference)


def bay_name(words: Words, bay: str) -> str:
    """Name a bay at the start of a sentence: by its own name, by its number, or as the one nobody named."""
    if not bay:
        return str(words.get("bays.unnamed"))
    return words.say("bays.numbered", bay=bay) if re.fullmatch(r"[\W\d_]*\w?[\W\d_]*", bay) else bay


def false_alarms(words: Words, watch: DriftWatch) -> str:
    """Say how often a device that is steady raises an alarm all the same."""
    return words.say("bays.false_alarms", percent=_percent(words, watch.false_alarm_in_100, 0))


def _sizes(words: Words, watch: DriftWatch, alarm: DriftAlarm) -> dict[str, object]:
    size = abs(alarm.size)
    return {
        "day": words.day(dt.date.fromisoformat(alarm.since_day)),
        "ratio": words.number(size, 3),
        "spin": words.number(size),
        "percent": _percent(words, size / watch.reference_mean if watch.reference_mean else 0.0, 1),
        "sessions": alarm.sessions,
    }


def _percent(words: Words, share: float, digits: int) -> str:
    return words.say("units.percent", amount=words.number(100 * share, digits))
