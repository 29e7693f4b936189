"""What a held file asks, as choices a person can click; each choice is what `baywright answer` would be given."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.records import FileReading, Given
from pipeline.schema import measurements
from pipeline.staff_words import explain
from pipeline.units import units

UNIT, COLUMN, KEEP, HAND, DECIMAL = "unit", "column", "keep", "hand", "decimal"
ASIDE = "aside"
_HANDS = (("right", "right-handed"), ("left", "left-handed"))
_MARKS = ((".", "the dot: 1.5 is one and a half"), (",", "the comma: 1,5 is one and a half"))


@dataclass(frozen=True, slots=True)
class Item:
    """One thing asked; choices are values with the words for them."""

    kind: str  # unit | column | keep | hand | decimal
    heading: str  # of the column it is about; empty when it is about the whole file
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Question:
    """What one file asks; `header` are all its headings, by which its layout is known."""

    file: str
    what: str
    header: tuple[str, ...]
    items: tuple[Item, ...]


def of(reading: FileReading) -> Question | None:
    """Give what a file asks; None when it asks nothing that choices could settle."""
    if reading.fault is None or reading.outcome != "needs_mapping" or not reading.header:
        return None
    items = tuple(_items(reading))
    if not items or not all(item.choices for item in items):
        return None
    return Question(reading.name, explain(reading)[0], reading.header, items)


def _items(reading: FileReading) -> Iterator[Item]:
    facts = reading.fault.facts if reading.fault else {}
    match reading.fault.kind if reading.fault else "":
        case "unit_unknown" | "unit_suspect":
            for heading, fitting in facts["columns"].items():
                yield Item(UNIT, heading, _units(reading, heading, fitting))
        case "unit_conflict":
            yield Item(UNIT, facts["column"], _as_they_are(facts["units"]))
        case "ambiguous_column":
            meanings = tuple((name, _meaning(name)) for name in facts["candidates"])
            yield Item(COLUMN, facts["column"], (*meanings, (ASIDE, "neither: leave it out")))
        case "duplicate_field":
            columns = tuple(dict.fromkeys(reading.header[place - 1] for place in facts["columns"]))
            if len(columns) == len(facts["columns"]):  # headings of one name cannot be told apart
                yield Item(KEEP, "", _as_they_are(columns))
        case "handedness_unknown":
            yield Item(HAND, "", _HANDS)
        case "ambiguous_number_format":
            yield Item(DECIMAL, "", _MARKS)


def _meaning(name: str) -> str:
    known = measurements().get(name)
    return known.said if known else name.replace("_", " ")


def _as_they_are(values: Sequence[str]) -> tuple[tuple[str, str], ...]:
    return tuple((value, value) for value in values)


def _units(reading: FileReading, heading: str, fitting: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Give the units in which a column is possible; all of its kind when none is."""
    if fitting:
        return _as_they_are(fitting)
    field = next((use.field for use in reading.columns if use.header == heading), "")
    known = measurements().get(field)
    return _as_they_are(tuple(units()[known.dimension])) if known else ()


def given(question: Question, chosen: Mapping[str, str]) -> Given | None:
    """Turn what was chosen (number of the item → value) into an answer; None when something is not answered.

    Only values that were offered are taken.
    """
    answer = Given()
    for number, item in enumerate(question.items):
        value = chosen.get(str(number), "")
        if value not in [choice for choice, _ in item.choices]:
            return None
        match item.kind:
            case "unit":
                answer.column_units[item.heading] = value
            case "column":
                answer.columns[item.heading] = "" if value == ASIDE else value
            case "keep":
                answer.columns.update({other: "" for other, _ in item.choices if other != value})
            case "hand":
                answer = Given(handed=value)
            case _:
                answer = Given(decimal=value)
    return answer
