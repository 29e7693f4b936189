"""A studio's history as text: what the ledger remembers, what travels to the child, what fitting.json keeps."""

import json
import math
from dataclasses import asdict
from typing import Any

from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread

_LONGEST = 10_000
_KINDS = ("driver", "wood", "hybrid", "iron", "wedge")
_MOST = {"customers": 10_000_000, "spread_m": 100.0, "freedom": 1_000.0}


def plain(history: History | None) -> list[dict[str, Any]] | None:
    """Give a history as lists and mappings."""
    return [asdict(one) for one in history.kinds] if history else None


def written(history: History) -> str:
    """Write a history as JSON, the same one always alike."""
    return json.dumps(plain(history), sort_keys=True, allow_nan=False)


def read(text: str) -> History | None:
    """Read what `written` gave; None for anything else."""
    if len(text) > _LONGEST:
        return None
    try:
        return believed(json.loads(text))
    except (ValueError, RecursionError):
        return None


def believed(value: Any) -> History | None:  # noqa: ANN401 - whatever a file holds
    """Read what `plain` gave; None for None, ValueError for what no history can be."""
    if value is None:
        return None
    if not isinstance(value, list) or not 0 < len(value) <= len(_KINDS):
        msg = "no history"
        raise ValueError(msg)
    kinds = tuple(_kind(one) for one in value)
    if len({one.kind for one in kinds}) < len(kinds):
        msg = "a kind of club stands twice in the history"
        raise ValueError(msg)
    return History(kinds)


def _kind(value: Any) -> KindHistory:  # noqa: ANN401 - as above
    kind, customers, between, shots = _fields(value, "kind", "customers", "between", "shots")
    spread, freedom, source = _fields(between, "spread_m", "freedom", "source")
    shot_spread, shot_freedom = _fields(shots, "spread_m", "freedom")
    if kind not in _KINDS or source != "history" or not isinstance(customers, int):
        msg = "no kind of club in the history"
        raise ValueError(msg)
    return KindHistory(
        kind,
        int(_number(customers, "customers", 0)),
        BetweenClubs(_number(spread, "spread_m", 0), _number(freedom, "freedom", 2), source),
        TypicalSpread(_number(shot_spread, "spread_m", 0), _number(shot_freedom, "freedom", 0)),
    )


def _fields(value: Any, *names: str) -> list[Any]:  # noqa: ANN401 - as above
    if not isinstance(value, dict) or set(value) != set(names):
        msg = "not the parts of a history"
        raise ValueError(msg)
    return [value[name] for name in names]


def _number(value: Any, name: str, above: float) -> float:  # noqa: ANN401 - as above
    """Take a number above a limit, below which the comparison cannot use it."""
    known = isinstance(value, int | float) and not isinstance(value, bool)
    if not known or not above < value <= _MOST[name] or not math.isfinite(value):
        msg = f"no {name} in the history"
        raise ValueError(msg)
    return float(value)
