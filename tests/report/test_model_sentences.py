"""Every sentence of the manager's page is earned by a rule, and just missed by records across its border."""

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any
from unittest import mock

import pytest

from pipeline import model_findings, models_report, models_words, settings
from pipeline.resources import table
from pipeline.rollup_records import GROUP_SEPARATOR, ModelsFound, Part, SpeedBand, Withheld
from pipeline.vocabulary import Words, words
from tests.report.model_cases import YARD, alarm, category, effect, found, gains, row, steady

DAY = dt.date(2026, 11, 25)
FIRST_MARK = 0xE000  # private use: no font and no text has it


def flat(tree: dict[str, Any], prefix: str = "") -> Iterator[str]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}"


KEYS = tuple(flat(words("en").get("models")))
RULES = {k: v for k, v in table("model_sentences").items() if isinstance(v, dict)}
ROWS = tuple(key.removesuffix(".when") for key in flat(RULES))


@cache
def marked() -> Words:
    """Put a mark of its own before every text, so that what was printed can be told."""

    def mark(tree: dict[str, Any], prefix: str) -> dict[str, Any]:
        return {
            key: mark(value, f"{prefix}{key}.")
            if isinstance(value, dict)
            else chr(FIRST_MARK + KEYS.index(f"{prefix}{key}")) + value
            for key, value in tree.items()
        }

    tree = words("en").tree
    return Words("en", {**tree, "models": mark(tree["models"], "")})


def printed(of: ModelsFound) -> set[str]:
    with mock.patch.object(models_words, "words", return_value=marked()):
        page = models_report.paper(of, settings.load(), DAY)
    return {KEYS[ord(c) - FIRST_MARK] for c in set(page) if FIRST_MARK <= ord(c) < FIRST_MARK + len(KEYS)}


# --- records on both sides ----------------------------------------------------------------------------------------
def models(*verdicts: str, **more: Any) -> ModelsFound:  # noqa: ANN401
    """Make a page of models with these verdicts."""
    sign = {"better": 1, "worse": -1}
    rows = [row(effect(f"M{i}", 6 * sign.get(v, 0), 1, v)) for i, v in enumerate(verdicts)]
    return found(category(*rows), **more)


def one(verdict: str, yards: float) -> ModelsFound:
    return found(category(row(effect("M", yards, 1, verdict)), row(effect("N"))))


def with_row(**more: Any) -> ModelsFound:  # noqa: ANN401
    return found(category(row(effect("M"), **more), row(effect("N"))))


def placed(low: int, high: int) -> ModelsFound:
    return found(category(row(replace(effect("M"), rank_low=low, rank_high=high, ranked=4)), row(effect("N"))))


def parted(*parts: Part) -> ModelsFound:
    return with_row(parts=parts)


def part(kind: str, value: str, *, thin: bool = False) -> Part:
    return Part(kind, value, thin, 9, 70, None, "shown")


def banded(name: str, *shown: str) -> ModelsFound:
    bands = tuple(
        SpeedBand(band, low, high, 9, (effect("M"), effect("N")) if band in shown else (), ())
        for band, low, high in (("slow", float("-inf"), 40.0), ("medium", 40.0, 45.0), ("fast", 45.0, float("inf")))
    )
    return found(category(row(effect("M")), row(effect("N")), bands=tuple(b for b in bands if b.name != name)))


def hidden(model: str = "X", reason: str = "few_customers", customers: int = 3) -> ModelsFound:
    return found(category(withheld=(Withheld(model, reason, customers, 2, 20),)))


BANDS = ("slow", "medium", "fast")
SETTLED, OPEN = models("better", "worse"), models("not_settled", "not_settled")
EMPTY = found(first_month="", last_month="", customers=0, shots=0)
LOFTS = parted(part("loft", "9"), part("loft", "10.5"))
FIVE, SIX = models(*["better"] * 5, "worse"), models(*["better"] * 6, "worse")
TWO_GROUPS = found(category(row(effect("M")), row(effect("N")), row(effect("O"), 1), row(effect("P"), 1)))
BY_STUDIO = {"by": ("studio",), "studio": "mine"}
CASES: dict[str, tuple[ModelsFound, ...]] = {
    "document.heading": (SETTLED, EMPTY),
    "document.heading_no_months": (EMPTY, SETTLED),
    "document.span": (SETTLED, found(category(), first_month="2026-11")),
    "document.studio": (
        found(category(name=f"driver{GROUP_SEPARATOR}other"), **BY_STUDIO),
        found(category(name=f"driver{GROUP_SEPARATOR}mine"), **BY_STUDIO),
        found(watches=(steady(), steady("2"))),
    ),
    "document.studio ": (found(watches=(steady(), replace(steady("2"), studio="s2"))), found(watches=(steady(),))),
    "lead.some": (SETTLED, found(category())),
    "lead.none": (found(category()), SETTLED),
    "under.drifting": (found(watches=(alarm(),)), found(watches=(steady(),))),
    "headings.gains read.gains": (with_row(gains=gains()), with_row()),
    "headings.carry read.carry read.effect how.spreads": (SETTLED, found(category())),
    "headings.parts read.parts part.loft": (LOFTS, parted(part("loft", "9"), part("shaft", "S"))),
    "part.shaft": (parted(part("shaft", "R"), part("shaft", "S")), LOFTS),
    "part.loft_none": (parted(part("loft", "9"), part("loft", "")), LOFTS),
    "part.shaft_none": (parted(part("shaft", "S"), part("shaft", "")), LOFTS),
    "part.loft_thin": (parted(part("loft", "9"), part("loft", "2", thin=True)), LOFTS),
    "part.shaft_thin": (parted(part("shaft", "S"), part("shaft", "2", thin=True)), LOFTS),
    "headings.bands read.bands band.customers": (banded("", "fast"), banded("")),
    "band.slow": (banded("", *BANDS), banded("slow", *BANDS)),
    "band.medium": (banded("", *BANDS), banded("medium", *BANDS)),
    "band.fast": (banded("", *BANDS), banded("fast", *BANDS)),
    "headings.withheld": (hidden(), SETTLED),
    "headings.group answer.groups": (TWO_GROUPS, SETTLED),
    "answer.better": (SETTLED, models("worse", "average", "not_settled")),
    "answer.worse": (SETTLED, models("better", "average", "not_settled")),
    "answer.average verdict.average": (models("average", "better"), models("better", "worse", "not_settled")),
    "answer.open": (models("better", "not_settled"), SETTLED, OPEN),
    "answer.all_open": (OPEN, models("better", "not_settled")),
    "answer.nothing": (found(category()), OPEN),
    "answer.named": (models("average", "not_settled"), OPEN),
    "answer.more": (SIX, FIVE),
    "answer.unnamed": (found(category(unnamed_shots=1)), found(category())),
    "answer.unknown": (found(unknown=("driver",)), found()),
    "cell.place": (placed(1, 2), placed(2, 2), OPEN),
    "cell.place_sure": (placed(2, 2), placed(1, 2), OPEN),
    "verdict.better": (one("better", 5), one("better", 4.99)),
    "verdict.better_small": (one("better", 4.99), one("better", 5)),
    "verdict.worse": (one("worse", -5), one("worse", -4.99)),
    "verdict.worse_small": (one("worse", -4.99), one("worse", -5)),
    "verdict.not_settled": (OPEN, SETTLED),
    "withheld.few_customers": (hidden(customers=4), hidden(customers=5)),
    "withheld.few_compared": (hidden(customers=5), hidden(customers=4), hidden("", customers=9)),
    "withheld.only_own_clubs": (hidden(reason="only_own_clubs"), hidden()),
    "withheld.not_connected": (hidden(reason="not_connected"), hidden()),
    "withheld.single": (hidden("", customers=1), hidden()),
    "bays.none": (found(), found(watches=(steady(used=23),))),
    "how.restricted how.since": (found(since="2026-03"), found()),
    "how.until": (found(until="2026-03"), found(since="2026-03")),
    "how.only": (found(kind="iron 7"), found(since="2026-03")),
}
OLD = replace(found().rules, old_before="2025-11")
for _code in words("en").get("models.mind"):
    _plain = with_row(caveats=(_code,))
    CASES[f"mind.{_code} caveat.{_code}"] = (replace(_plain, rules=OLD), with_row())


@pytest.mark.parametrize("keys", CASES)
def test_a_sentence_is_earned_and_just_missed(keys: str) -> None:
    earns, *misses = CASES[keys]
    assert misses
    said, unsaid = printed(earns), [printed(miss) for miss in misses]
    for key in keys.split():
        assert key in said
        assert [key in each for each in unsaid] == [False] * len(unsaid), key


def test_every_entry_stands_in_the_table_once_and_every_row_has_a_case() -> None:
    listed = {name: table("model_sentences")[name] for name in ("always", "names")}
    stands = {
        key: (key in ROWS)
        + sum(entry in (key, f"{key.partition('.')[0]}.*") for entries in listed.values() for entry in entries)
        for key in KEYS
    }
    assert {key: n for key, n in stands.items() if n != 1} == {}
    assert set(ROWS) - set(KEYS) == set()
    assert set(ROWS) == {key for keys in CASES for key in keys.split()}


@pytest.mark.parametrize("of", [EMPTY, SETTLED, found(category())])
def test_what_is_always_said_is_always_said(of: ModelsFound) -> None:
    assert set(table("model_sentences")["always"]) <= printed(of)


def test_the_numbers_of_the_rules_are_those_of_the_code() -> None:
    assert f"more than {models_words.MOST_NAMED} models" in RULES["answer"]["more"]["when"]
    assert f"the month {model_findings.OLD_MONTHS} months before" in RULES["mind"]["old_data"]["when"]


# --- as a person would say it -------------------------------------------------------------------------------------
def text(of: ModelsFound, studio: str = "") -> str:
    page = re.sub(r"<style.*?</style>", "", models_report.paper(of, settings.load(studio), DAY), flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("of", "studio", "said"),
    [
        (SIX, "", "Likely farther than the average of the models compared: M0 (+6.0 yd), M1 (+6.0 yd), M2"),
        (SIX, "", "M4 (+6.0 yd) and 1 more."),
        (SIX, "", "Of 7 models compared: 6 likely farther than average, 1 likely shorter, 0 average, 0 not settled."),
        (SIX, 'language = "de"\nunits_shown = "metres"', "M0 (+5,5 m)"),
        (SIX, "", "Club models, March 2026 to November 2026"),
        (models("better", "worse", first_month="2026-11"), "", "Club models, November 2026 "),
        (placed(1, 3), "", "1 to 3 of 4"),
        (placed(2, 2), "", "2 of 4"),
        (with_row(gains=gains()), "", "+4.0 (+2.0 to +6.0) −2 · +4 · +10 14 of 18 (55 to 91 %) +34 % (+15 to +56)"),
        (LOFTS, 'language = "de"', "Loft 10,5°"),
        (found(category(name="wedge sw"), watches=()), "", "Wedge SW"),
        (found(category(name=f"iron 7{GROUP_SEPARATOR}9.5{GROUP_SEPARATOR}2026-03"), by=("loft", "month")), "",
         "Iron 7, Loft 9.5°, March 2026"),
        (found(category(name=f"iron 7{GROUP_SEPARATOR}mine"), **BY_STUDIO), 'name = "Our bays"', "Iron 7, Our bays"),
        (found(since="2026-01", until="2026-02", kind="wood"), "",
         "Only a part of what is kept was asked for: from January 2026 on, to February 2026, Fairway wood alone."),
        (found(watches=(alarm(),)), "", "Bay 2 reads the ball/club ratio higher since 3 March 2026: by about 0.020"),
        (found(watches=(steady(used=23),)), "", "23 of the 60 visits needed"),
        (hidden("", customers=1), "", "Models of one customer each (1)"),
    ],
)  # fmt: skip
def test_it_is_said_with_its_numbers(of: ModelsFound, studio: str, said: str) -> None:
    assert said in text(of, studio)


def test_the_worst_are_named_first_among_the_shorter() -> None:
    shorter = [row(effect(f"M{i}", -3 - i, 1, "worse")) for i in range(6)]
    assert "Likely shorter than that average: M5 (−8.0 yd), M4 (−7.0 yd)" in text(found(category(*shorter)))


def test_drifting_bays_come_first() -> None:
    said = text(found(watches=(steady(used=23), steady("5"), alarm("9"))))
    assert said.index("Bay 9") < said.index("Bay 5") < said.index("Bay 1")


def test_speeds_are_told_with_the_group_they_are_of() -> None:
    shown = [effect("M"), effect("N"), effect("O"), effect("P")]
    band = SpeedBand("slow", float("-inf"), 40.0, 9, tuple(shown), ())
    rows = [row(one, place // 2) for place, one in enumerate(shown)]
    page = models_report.paper(found(category(*rows, bands=(band,))), settings.load(), DAY)
    tables = re.findall(r'<table class="tight sortable bands">.*?</table>', page, re.DOTALL)
    assert [re.findall(r'<th scope="row">(.)</th>', one) for one in tables] == [["M", "N"], ["O", "P"]]


def test_what_is_not_shown_stands_with_most_customers_first_and_without_a_name_last() -> None:
    ones = [Withheld(name, "few_customers", n, 1, 9) for name, n in (("", 9), ("A", 2), ("B", 4))]
    said = text(found(category(withheld=tuple(ones))))
    assert said.index("B 4 1 9") < said.index("A 2 1 9") < said.index("Models of one customer each (1) 9 1 9")


@pytest.mark.parametrize("small", [0.5 * YARD, 5 * YARD])
def test_what_matters_is_named_so_that_it_is_not_lost(small: float) -> None:
    rules = replace(found().rules, worth=small)
    said = text(models("better", "worse", rules=rules))
    assert ("smaller than the 0.5 yards taken" in said) == (small < YARD)
