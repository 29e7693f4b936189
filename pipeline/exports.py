"""A fitting for other programs: fitting.json and shots.csv, in SI with the unit in each name."""

import csv
import dataclasses
import io
import json
import math
from collections.abc import Sequence
from typing import Any

from pipeline import findings, history_text
from pipeline.judgements import Accuracy, Bag, BagClub, Expectation, Judged, OrderEffect, SpreadComparison
from pipeline.lever_records import LeverStory
from pipeline.records import Average, Comparison, Fitting, SetResult, ShotResult
from pipeline.room_records import Outlook
from pipeline.schema import measurements

SCHEMA_VERSION = 1
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def _plain(value: Any) -> Any:  # noqa: ANN401 - any part of a record
    """Turn records into dictionaries and NaN into null all the way down: NaN is not JSON."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return _plain(_fields(value)) if dataclasses.is_dataclass(value) else value


def _fields(record: Any) -> dict[str, Any]:  # noqa: ANN401 - any record
    """Give a record's own values by name; the records in it are left as they are, unlike by dataclasses.asdict."""
    return {each.name: getattr(record, each.name) for each in dataclasses.fields(record)}


def _average(average: Average, result: SetResult) -> dict[str, Any]:
    """Write an average; a set too uneven for a mean keeps its median alone."""
    values = _fields(average)
    hidden = ("mean", "low", "high") if result.uneven else ()
    return {k: None if k in hidden else v for k, v in values.items() if k not in ("quantity", "all_valid_mean")}


def _set(result: SetResult) -> dict[str, Any]:
    numbers = ("n_counted", "n_mishit", "n_bad_read", "n_asked", "uneven")
    averages = {name: _average(a, result) for name, a in result.averages.items()}
    return {
        "letter": result.set.letter,
        "label": result.set.label,
        "phase": result.set.phase,
        "own_club": result.set.is_own,
        "build": _fields(result.set.build),
        **{name: getattr(result, name) for name in numbers},
        "averages": averages,
        "all_valid": {name: average.all_valid_mean for name, average in result.averages.items()},
        "dispersion": _fields(result.ellipse) if result.ellipse else None,
    }


def _between(
    record: Comparison | Expectation | OrderEffect | SpreadComparison | LeverStory, letters: Sequence[str]
) -> dict[str, Any]:
    """Write what is said of a build against the own club, with letters for the sets."""
    return {**_fields(record), "build": letters[record.build], "against": letters[record.against]}


def _judged(judged: Judged, letters: Sequence[str]) -> dict[str, Any]:
    """Write what is said beyond averages and comparisons, with letters for the sets."""
    return {
        "expectation": [_between(e, letters) for e in judged.expectations],
        "expectation_prior": _fields(judged.prior) if judged.prior else None,
        "order": [_between(o, letters) for o in judged.orders],
        "accuracy": [_of_set(a, letters) for a in judged.accuracies],
        "spread": [_between(s, letters) for s in judged.spreads],
        "exchange": _fields(judged.exchange) if judged.exchange else None,
        "gapping": _bag(judged.bag, letters) if judged.bag else None,
        "mean_and_median_part": [letters[index] for index in judged.parted],
    }


def _of_set(record: Accuracy | BagClub | Outlook, letters: Sequence[str]) -> dict[str, Any]:
    values = _fields(record)
    return {"set": letters[values.pop("set_index")], **values}


def _bag(bag: Bag, letters: Sequence[str]) -> dict[str, Any]:
    gaps = [_fields(gap) for gap in bag.gaps]
    return {
        "clubs": [_of_set(club, letters) for club in bag.clubs],
        "gaps": [{**gap, "longer": letters[gap["longer"]], "shorter": letters[gap["shorter"]]} for gap in gaps],
        "left_out": [letters[index] for index in bag.left_out],
    }


def _shot(shot: ShotResult, fitting: Fitting) -> dict[str, Any]:
    return {
        "number": shot.number,
        "file": shot.file,
        "line": shot.line,
        "set": fitting.sets[shot.set_index].set.letter,
        "fate": shot.fate.fate,
        "code": shot.fate.code or None,
        "decided_by": shot.fate.by,
        "figures": shot.fate.figures,
        "reason": shot.fate.words or None,
        "measured": shot.measured,
        "used": shot.used,
    }


def fitting_json(fitting: Fitting) -> str:
    """Write fitting.json; its shape is documented in README and versioned by `schema`."""
    finding = findings.answer(fitting)
    letters = [result.set.letter for result in fitting.sets]
    document = {
        "schema": SCHEMA_VERSION,
        "visit": {
            "id": fitting.visit_id,
            "name": fitting.name,
            "date": fitting.date.isoformat(),
            "version": fitting.version,
            "version_date": fitting.version_date.isoformat() if fitting.version_date else None,
            "customer": fitting.facts.customer,
            "hand": fitting.facts.hand,
            "own_club_from": fitting.own_club_from,
            "files": [reading.name for reading in fitting.files],
            "history": history_text.plain(fitting.history),
        },
        "air": _fields(fitting.air),
        "sources": fitting.sources,
        "answer": {"code": finding.code, "set": finding.subject.set.letter},
        "smallest_difference_m": fitting.smallest_difference_m,
        "sets": [_set(result) for result in fitting.sets],
        "comparison": [_between(c, letters) for c in fitting.comparisons],
        **_judged(fitting.judged, letters),
        "levers": {
            "from_own": [_between(story, letters) for story in fitting.levers.from_own],
            "steps": [_between(story, letters) for story in fitting.levers.steps],
        },
        "outlook": [_of_set(outlook, letters) for outlook in fitting.outlooks],
        "shots": [_shot(shot, fitting) for shot in fitting.shots],
        "unreadable_rows": [
            {"file": reading.name, **_fields(row)} for reading in fitting.files for row in reading.rejected
        ],
        "home_course": _fields(fitting.home) if fitting.home else None,
        "device_check": [_fields(check) for check in fitting.device_check],
        "cautions": list(fitting.cautions),
    }
    return "{\n" + ",\n".join(f"{_json(name)}: {_lines(part)}" for name, part in _plain(document).items()) + "\n}\n"


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _lines(part: object) -> str:
    """Write a list with a line for each of its items: so a shot is one line, and the fast encoder is used."""
    if not isinstance(part, list) or not part:
        return _json(part)
    return "[\n" + ",\n".join(_json(item) for item in part) + "\n]"


def safe_text(text: str) -> str:
    """Keep a spreadsheet program from taking a text for a formula."""
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def shots_csv(fitting: Fitting) -> str:
    """Write every shot with its fate: measured columns by name, used_… where a flight value was modelled."""
    names = [name for name in measurements() if any(name in shot.measured for shot in fitting.shots)]
    modelled = [name for name, source in fitting.sources.items() if source != "measured"]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    heads = ["number", "file", "line", "set", "club", "phase", "fate", "code", *names]
    writer.writerow([*heads, *(f"used_{name}" for name in modelled)])
    for shot in fitting.shots:
        which = fitting.sets[shot.set_index].set
        texts = [shot.file, str(shot.line), which.letter, which.label, which.phase, shot.fate.fate, shot.fate.code]
        values = [shot.measured.get(name) for name in names] + [shot.used.get(name) for name in modelled]
        numbers = ["" if value is None else f"{value:.10g}" for value in values]
        writer.writerow([shot.number, *(safe_text(text) for text in texts), *numbers])
    return out.getvalue()
