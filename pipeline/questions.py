"""What a held file asks, as choices a person can click; each choice is what `baywright answer` would be given."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.records import FileReading, Given
from pipeline.schema import measurements
from pipeline.staff_words import explain
from pipeline.units import units

UNIT, COLUMN, KEEP, HAND, DECIMAL = "unit", "column", "keep", "hand", "decimal"
ASIDE = "aside"
Again = Callable[[Given], FileReading]  # reads the file once more, with answers over what is known of it
_MOST_COLUMNS = 4  # of two meanings, in one form; each is read a few times
_WRITTEN_OUT = {
    "m": "metres", "yd": "yards", "ft": "feet", "in": "inches", "cm": "centimetres", "mm": "millimetres",
    "deg": "degrees", "rad": "radians", "s": "seconds", "ms": "milliseconds",
}  # fmt: skip
_HANDS = (("right", "right-handed"), ("left", "left-handed"))
_MARKS = ((".", "the dot: 1.5 is one and a half"), (",", "the comma: 1,5 is one and a half"))


@dataclass(frozen=True, slots=True)
class Item:
    """One thing asked; choices are values with the words for them, meanings what some of these words mean."""

    kind: str  # unit | column | keep | hand | decimal
    heading: str  # of the column it is about; empty when it is about the whole file
    choices: tuple[tuple[str, str], ...]
    meanings: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """What one file asks; `header` are all its headings, by which its layout is known."""

    file: str
    what: str
    header: tuple[str, ...]
    items: tuple[Item, ...]


def of(reading: FileReading, again: Again) -> Question | None:
    """Give what a file asks; None when it asks nothing that choices could settle."""
    if reading.fault is None or reading.outcome != "needs_mapping" or not reading.header:
        return None
    ambiguous = reading.fault.kind == "ambiguous_column"
    items = tuple(_of_two_meanings(reading, again) if ambiguous else _items(reading))
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
        case "duplicate_field":
            columns = tuple(dict.fromkeys(reading.header[place - 1] for place in facts["columns"]))
            if len(columns) == len(facts["columns"]):  # headings of one name cannot be told apart
                yield Item(KEEP, "", _as_they_are(columns))
        case "handedness_unknown":
            yield Item(HAND, "", _HANDS)
        case "ambiguous_number_format":
            yield Item(DECIMAL, "", _MARKS)


def _of_two_meanings(reading: FileReading, again: Again) -> Iterator[Item]:
    """Ask about every heading of two meanings at once, and about the units of the columns beside them.

    The reader itself says which headings these are, and which units each meaning leaves open: it reads the file with
    each answer that might come.
    """
    found: dict[str, Sequence[str]] = {}
    rest = reading
    while rest.fault and rest.fault.kind == "ambiguous_column" and len(found) < _MOST_COLUMNS:
        if rest.fault.facts["column"] in found:
            break
        found[rest.fault.facts["column"]] = rest.fault.facts["candidates"]
        rest = again(Given(columns=dict.fromkeys(found, "")))
    for heading, names in found.items():
        others = {other: "" for other in found if other != heading}
        choices = tuple(choice for name in names for choice in _meant(name, heading, others, again))
        known = [measurements()[name] for name in names if name in measurements()]
        meanings = tuple((measurement.called, measurement.meaning) for measurement in known)
        yield Item(COLUMN, heading, (*choices, (ASIDE, "neither: leave it out")), meanings)
    if rest.fault and rest.fault.kind == "unit_unknown":
        yield from _items(rest)


def _meant(name: str, heading: str, others: Mapping[str, str], again: Again) -> Iterator[tuple[str, str]]:
    """Give one meaning of a heading as choices: with each unit it may be in, unless the file states its unit."""
    read = again(Given(columns={**others, heading: name}))
    if read.fault and read.fault.kind != "unit_unknown":  # something else is asked first: look at this column alone
        read = again(Given(columns={**dict.fromkeys(read.header, ""), heading: name}))
    unknown = read.fault.facts["columns"] if read.fault and read.fault.kind == "unit_unknown" else {}
    said = measurements()[name].called if name in measurements() else name.replace("_", " ")
    if not unknown.get(heading):
        yield name, said
    for unit in unknown.get(heading, ()):
        yield f"{name}|{unit}", f"{said}, {in_unit(unit)}"


def in_unit(unit: str) -> str:
    """Say in which unit something is; all but the short names everybody knows are written out."""
    return f"in {_WRITTEN_OUT.get(unit, unit)}"


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
                name, _, unit = value.partition("|")
                answer.columns[item.heading] = "" if name == ASIDE else name
                answer.column_units.update({item.heading: unit} if unit else {})
            case "keep":
                answer.columns.update({other: "" for other, _ in item.choices if other != value})
            case "hand":
                answer = Given(handed=value)
            case _:
                answer = Given(decimal=value)
    return answer
