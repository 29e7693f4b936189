"""Words of the trade as they stand in files: what columns are called and what cells and lines say."""

import re
import unicodedata
from functools import cache, lru_cache
from typing import Any

from pipeline.resources import table

_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})
_FILLERS = re.compile(r"[\s_.:*/#–—‐-]+")  # no comma or other delimiter: a whole line is not one name
_ERROR_WORD = re.compile(r"#[^\s\d#!?][^\s#!?]*[!?]|#+")
_ENDS = " ,;|"
_SUMMARY_FILLERS = re.compile(r"[\s_.:]+")  # a hyphen stays: "Max-7" is a club, "Max 7" a summary by our rule


def spaced(text: str) -> str:
    """Fold white space to single blanks and strip the ends; byte order marks count as white space."""
    return " ".join(text.replace("\ufeff", " ").split())


def plain(text: str, fillers: re.Pattern[str] = _FILLERS) -> str:
    """Bring a word to the form in which words are compared: lower case, no accents, fillers folded to one blank."""
    if text.isascii():
        return fillers.sub(" ", text.lower()).strip(_ENDS)
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(c for c in decomposed if unicodedata.category(c) != "Mn")
    return fillers.sub(" ", unicodedata.normalize("NFC", bare)).strip(_ENDS)


def _forms(word: str) -> set[str]:
    """Give the compared forms of a listed word: as spelt and, for German, with ae oe ue, both without blanks."""
    composed = unicodedata.normalize("NFC", word.casefold())
    return {(plain(form) or form).replace(" ", "") for form in (composed, composed.translate(_UMLAUTS))}


@cache
def _measurements_by_word() -> dict[str, tuple[str, ...]]:
    found: dict[str, set[str]] = {}
    for name, languages in table("aliases").items():
        if name == "shared":
            pairs = [(word, names) for word, names in languages.items()]
        else:
            pairs = [(word, [name]) for words in languages.values() for word in words]
        for word, names in pairs:
            for form in _forms(word):
                found.setdefault(form, set()).update(names)
    return {word: tuple(sorted(names)) for word, names in found.items()}


@lru_cache(maxsize=8192)
def measurements_called(name: str) -> tuple[str, ...]:
    """Give the measurements and text columns a heading without its unit may mean, in alphabetical order."""
    known = _measurements_by_word()
    folded = plain(name) or name.strip()
    compact = folded.replace(" ", "")
    if compact in known:
        return known[compact]
    first, _, rest = folded.partition(" ")
    if rest and first in _words("heading_prefixes"):
        return known.get(rest.replace(" ", ""), ())
    return ()


def _listed(key: str) -> Any:  # noqa: ANN401 - what TOML gives
    return table("reading_words")[key]


@cache
def _words(key: str) -> frozenset[str]:
    """Give a plain list of reading_words.toml in lower case."""
    return frozenset(word.casefold() for word in _listed(key))


def is_null_word(text: str) -> bool:
    """Tell whether a stripped cell says that there is no value; an empty cell says so without a word."""
    return text.casefold() in _words("null_words")


def is_infinite_word(text: str) -> bool:
    """Tell whether a cell says infinite, with or without a sign."""
    return text.casefold().lstrip("+-") in _words("infinite_words")


def is_spreadsheet_error(text: str) -> bool:
    """Tell whether a cell is an error word of a spreadsheet, or the marks of a column that was too narrow."""
    if not text.startswith("#"):
        return False
    return _ERROR_WORD.fullmatch(text) is not None or text.casefold() in _words("spreadsheet_errors")


def null_words() -> frozenset[str]:
    """Give the words that say that there is no value, in lower case."""
    return _words("null_words")


def without_label_words(label: str) -> str:
    """Take words such as `data` out of a group label: `Ball data` over `Speed` means `Ball`."""
    return " ".join(word for word in label.split() if word.casefold() not in _words("label_words"))


def unit_connectors() -> frozenset[str]:
    """Give the words that may stand between a name and its unit."""
    return _words("unit_connectors")


@cache
def _summary_words() -> dict[str, list[str]]:
    """Map the first word of each summary word to the whole words."""
    by_first: dict[str, list[str]] = {}
    for words in _listed("summary").values():
        for word in words:
            for spelt in (word, unicodedata.normalize("NFC", word).translate(_UMLAUTS)):
                form = plain(spelt, _SUMMARY_FILLERS)
                by_first.setdefault(form.split(" ")[0], []).append(form)
    return by_first


def is_summary_label(text: str) -> bool:
    """Tell whether a line's first filled cell marks a summary: a listed word, alone or before blank, bracket, digit."""
    folded = plain(text, _SUMMARY_FILLERS)
    first = re.match(r"[^\s\d(\[{]+", folded)
    if first is None:
        return False
    for word in _summary_words().get(first.group(), ()):
        if folded.startswith(word) and (len(folded) == len(word) or folded[len(word)] in " ([{0123456789"):
            return True
    return False


@cache
def side_words(direction: str) -> dict[str, int]:
    """Give the words of "right" or "up" as word → sign in the frame of the target."""
    return _signed(_listed("sides").get(direction, {}))


@cache
def golfer_words(kind: str) -> dict[str, int]:
    """Give the words of "path", "face" or "curve" as word → sign for a right-handed golfer."""
    return _signed(_listed("golfer").get(kind, {}))


def _signed(words: dict[str, list[str]]) -> dict[str, int]:
    return {plain(word): sign for key, sign in (("plus", 1), ("minus", -1)) for word in words.get(key, ())}


@cache
def months() -> dict[str, int]:
    """Give every month word as word → number."""
    return {plain(word): number for words in _listed("months").values() for number, word in enumerate(words, start=1)}


@cache
def _quantity_words() -> dict[str, str]:
    return {plain(word): dimension for dimension, words in _listed("quantities").items() for word in words}


def names_a_unit(key: str) -> str | None:
    """Give the quantity a preamble key names the unit of ("Speed unit" → "speed"), or None when it names no unit."""
    folded = plain(key.translate(str.maketrans("()[]{}", "      ")))
    for word in sorted(_words("unit_words"), key=len, reverse=True):
        if plain(word) in folded:
            return " ".join(
                part for part in folded.replace(plain(word), " ").split() if part not in {"of", "for", "de"}
            )
    return None


def quantity_called(name: str) -> str | None:
    """Give the dimension a quantity word means ("distance" → "length"), or None."""
    return _quantity_words().get(plain(name))


@cache
def magic_bytes() -> dict[bytes, str]:
    """Give the first bytes of kinds of files that are no tables."""
    return {bytes.fromhex(start): kind for start, kind in _listed("magic").items()}
