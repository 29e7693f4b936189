"""JSON arrays and line-wise JSON → records; the keys become the heading."""

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.reading.parts import Record, Refused
from pipeline.reading.sheets import RecordSource
from pipeline.records import Fault

if TYPE_CHECKING:
    from collections.abc import Sequence

_MOST_KEYS = 256  # different keys looked at; more would be hostile
_ENDINGS = (".json", ".jsonl", ".ndjson")


@dataclass(frozen=True, slots=True)
class JsonFound:
    """The records of a JSON file and what was noticed."""

    source: RecordSource
    warnings: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Objects:
    """Numbered objects, the numbers that hold none, and what was noticed."""

    objects: tuple[tuple[int, dict[str, Any]], ...]
    rejected: tuple[tuple[int, str], ...] = ()
    nonstandard: bool = False


def looks_like_json(text: str, name: str) -> bool:
    """Tell whether a text may be JSON: by its first character, and its name or a first line that is an object."""
    start = text[:4096].lstrip()
    if start[:1] not in {"[", "{"}:
        return False
    return name.lower().endswith(_ENDINGS) or start[1:].lstrip()[:1] in {"{", '"', "}"}


def json_source(text: str) -> JsonFound | Refused:
    """Give the records of a JSON text, or refuse one that breaks off or holds none."""
    found = _whole(text) or _line_wise(text)
    if found is None:
        broken = text.lstrip()[:1] == "[" and not text.rstrip().endswith("]")
        return Refused(Fault("incomplete_file")) if broken else Refused(Fault("not_tabular", {"detected": "json"}))
    keys = list(dict.fromkeys(key for _, item in found.objects for key in item))[:_MOST_KEYS]
    records = [Record(0, tuple(keys), None, 1)]
    for place, (line, item) in enumerate(found.objects, start=2):
        records.append(Record(line, tuple(_cell(item.get(key)) for key in keys), None, place))
    warnings = frozenset({"nonstandard_json"} if found.nonstandard else set()) | frozenset(
        reason for _, reason in found.rejected if reason == "truncated_last_line"
    )
    return JsonFound(RecordSource("json", tuple(records), found.rejected), warnings)


class _Decoder:
    """A JSON decoder that keeps numbers as written and remembers NaN and Infinity."""

    def __init__(self) -> None:
        self.nonstandard = False

    def __call__(self, text: str) -> Any:  # noqa: ANN401 - whatever the JSON holds
        """Parse a text; raises ValueError or RecursionError."""
        return json.loads(text, parse_constant=self._constant, parse_float=_Number, parse_int=_Number)

    def _constant(self, name: str) -> str | None:
        self.nonstandard = True
        return None if name == "NaN" else name


class _Number(str):
    """A JSON number as written."""

    __slots__ = ()


def _whole(text: str) -> _Objects | None:
    decode = _Decoder()
    try:
        content = decode(text)
    except (ValueError, RecursionError):
        return None
    items = _items(content)
    if items is None:
        return None
    objects = tuple((line, _flat(item)) for line, item in enumerate(items, start=1) if isinstance(item, dict))
    rejected = tuple(
        (line, "invalid_json_line") for line, item in enumerate(items, start=1) if not isinstance(item, dict)
    )
    return _Objects(objects, rejected, decode.nonstandard)


def _items(content: Any) -> "Sequence[Any] | None":  # noqa: ANN401 - whatever the JSON holds
    """Find the records: a list, the only list of objects within an object, or one object."""
    if isinstance(content, list):
        return content if any(isinstance(item, dict) for item in content) else None
    if not isinstance(content, dict):
        return None
    lists = [value for value in content.values() if isinstance(value, list) and value and isinstance(value[0], dict)]
    return lists[0] if len(lists) == 1 else [content]


def _line_wise(text: str) -> _Objects | None:
    """Read one object a line; a broken line is rejected by itself."""
    decode = _Decoder()
    objects: list[tuple[int, dict[str, Any]]] = []
    rejected: list[tuple[int, str]] = []
    lines = text.split("\n")
    for line, part in enumerate(lines, start=1):
        if not part.strip():
            continue
        item = _object(decode, part)
        if item is not None:
            objects.append((line, _flat(item)))
        else:
            rejected.append((line, "truncated_last_line" if line == len(lines) else "invalid_json_line"))
    return _Objects(tuple(objects), tuple(rejected), decode.nonstandard) if objects else None


def _object(decode: _Decoder, part: str) -> dict[str, Any] | None:
    try:
        item = decode(part)
    except (ValueError, RecursionError):
        return None
    return item if isinstance(item, dict) else None


def _flat(item: dict[str, Any], depth: int = 3) -> dict[str, Any]:
    """Bring objects inside an object up to it: {"ball": {"speed": 1}} becomes {"ball.speed": 1}."""
    flat: dict[str, Any] = {}
    for key, value in item.items():
        if isinstance(value, dict) and depth:
            flat |= {f"{key}.{inner}": found for inner, found in _flat(value, depth - 1).items()}
        else:
            flat[key] = value
    return flat


def _cell(value: Any) -> str:  # noqa: ANN401 - whatever the JSON holds
    """Write a value as a cell; lone surrogates, which JSON allows and text does not, become question marks."""
    if value is None:
        return ""
    if isinstance(value, str):
        text = str(value)
    elif isinstance(value, bool):
        text = "true" if value else "false"
    else:
        text = json.dumps(value, ensure_ascii=False, default=str)
    return text.encode("utf-8", "replace").decode("utf-8").strip()
