"""Every sentence is earned by a rule: each row of schemas/sentences.toml with visits on both sides of its border."""

import datetime as dt
import html
import re
from collections.abc import Iterator
from functools import cache
from typing import Any
from unittest import mock

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import later_words, report, session, settings, wording
from pipeline.analysis import (
    ball_flight,
    cautions,
    comparison,
    device_check,
    dispersion,
    gapping,
    judging,
    order,
    ranges,
    robust,
    room,
    window,
)
from pipeline.records import Fitting, ShotFile, VisitFacts
from pipeline.resources import folder, table
from pipeline.shown import NBSP
from pipeline.vocabulary import Words, words
from tests.report.sentence_cases import YARD, cases, gain, loft, story, told, visit, with_means
from tests.report.sentence_cases import window as launch_window

FIRST_MARK = 0xE000  # private use: no font and no text has it


def flat(tree: dict[str, Any], prefix: str = "") -> Iterator[str]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}"


KEYS = tuple(flat(words("en").tree))
ROWS = tuple(
    key.removesuffix(".when") for key in flat({k: v for k, v in table("sentences").items() if isinstance(v, dict)})
)
LISTS = ("always", "names", "elsewhere")


def listed(key: str, name: str) -> int:
    """Count how often a list of the table names a key, by itself or with its section."""
    return sum(
        entry in (key, f"{key.rpartition('.')[0]}.*", f"{key.partition('.')[0]}.*")
        for entry in table("sentences")[name]
    )


@cache
def marked() -> Words:
    """Put a mark of its own before every text, so that what was printed can be told."""

    def mark(tree: dict[str, Any], prefix: str) -> dict[str, Any]:
        return {
            key: mark(value, f"{prefix}{key}.")
            if isinstance(value, dict)
            else chr(FIRST_MARK + KEYS.index(f"{prefix}{key}")) + value
            if f"{prefix}{key}" in ROWS
            else value
            for key, value in tree.items()
        }

    return Words("en", mark(words("en").tree, ""))


@cache
def _printed(place: int, side: int) -> frozenset[str]:
    each = cases()[place]
    return printed((each.earns, *each.misses)[side])


def printed(fitting: Fitting, studio: str = "") -> frozenset[str]:
    """Name the conditional entries of the vocabulary that a report prints."""
    with mock.patch.object(wording, "words", return_value=marked()):
        page = report.render(fitting, settings.load(studio))
    return frozenset(KEYS[ord(c) - FIRST_MARK] for c in set(page) if FIRST_MARK <= ord(c) < FIRST_MARK + len(KEYS))


def text(fitting: Fitting, studio: str = "") -> str:
    """Give the words of a report."""
    page = report.render(fitting, settings.load(studio))
    page = re.sub(r"<style.*?</style>", "", page, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", "\n", page)).replace(NBSP, " ")


# --- the table ----------------------------------------------------------------------------------------------------
def test_every_entry_of_the_vocabulary_stands_in_the_table_once() -> None:
    stands = {key: (key in ROWS) + sum(listed(key, name) for name in LISTS) for key in KEYS}
    assert {key: n for key, n in stands.items() if n != 1} == {}
    assert set(ROWS) - set(KEYS) == set()
    unused = [
        e
        for name in LISTS
        for e in table("sentences")[name]
        if not any(k == e or k.startswith(e.rstrip("*")) for k in KEYS)
    ]
    assert unused == []


def test_every_row_has_a_case() -> None:
    assert sorted(set(ROWS) - {key for each in cases() for key in each.keys}) == []
    assert all(each.misses for each in cases())


@pytest.mark.parametrize("key", ROWS)
def test_a_sentence_is_earned_and_just_missed(key: str) -> None:
    for place, each in enumerate(cases()):
        if key in each.keys:
            assert key in _printed(place, 0)
            for side in range(1, 1 + len(each.misses)):
                assert key not in _printed(place, side), f"case {place}, miss {side}"


# --- numbers ------------------------------------------------------------------------------------------------------
FEET, YARDS = 0.3048, 0.9144
NUMBERS = {
    "verdict.not_settled_more": (comparison.MOST_SHOTS,),
    "verdict.many": (wording._MOST_CLAUSES,),
    "answer.bag": (judging._FEWEST_JOBS, comparison.FEWEST_SHOTS),
    "under.one_set": (comparison.FEWEST_SHOTS,),
    "answer.no_carry": (100 * ball_flight.PRESENT_SHARE,),
    "fly.higher": (wording._SMALL_LAUNCH_DEG,),
    "fly.more_spin": (wording._SMALL_SPIN_RPM,),
    "how.order": (order.MOST_INFLATION,),
    "accuracy.tighter_across": (100 * (1 - comparison.LEVEL),),
    "accuracy.no_difference": (later_words.BALLS_TO_TELL,),
    "bag.even": (gapping.OVERLAP_M / YARDS, gapping.HOLE_M / YARDS),
    "caution.device_far_off": (100 * device_check.FAR_OFF, robust.FEWEST_SHOTS),
    "caution.few_shots": (robust.FEWEST_SHOTS,),
    "caution.uneven_mishits": (cautions._MISHITS_APART,),
    "read.landing": (dispersion.FEWEST_SHOTS,),
    "lever.brought": (100 * ranges.SAYABLE_LEVEL,),
    "loft.advised": (100 * window.LOST_SHARE, room.LEAST_LOFT_STEP_DEG),
    "window.in": (100 * window.LOST_SHARE,),
    "window.apex_in_trade_range": tuple(metres / FEET for metres in window.TRADE_APEX_M),
    "window.apex_lower_because_slower": (window.TRADE_SPEED_MPS / 0.44704,),
}


@pytest.mark.parametrize("key", NUMBERS)
def test_the_numbers_of_a_rule_are_those_of_the_code(key: str) -> None:
    section, name = key.split(".")
    rule = table("sentences")[section][name]["when"]
    said = [float(number) for number in re.findall(r"\d+(?:\.\d+)?", rule)]
    assert [number for number in NUMBERS[key] if not any(abs(number - each) < 1e-6 for each in said)] == []


def test_what_the_head_of_the_table_says_is_so() -> None:
    head = (folder("schemas") / "sentences.toml").read_text(encoding="utf-8")
    assert f"simultaneous {100 * comparison.LEVEL:.0f} % interval" in head
    assert f"smallest_difference_yd, {table('settings')['smallest_difference_yd']['default']} yards" in head


# --- what no sentence may say -------------------------------------------------------------------------------------
NEVER = re.compile(
    r"\bnan\b|\bNone\b(?! was removed)|\{|[+−]0(?![\d.,])|(?<![\d.,])0 (?:yards?|metres?|Yards?|Meter)\b"
    r"|(?<![\d.,])1 (?:yards|metres|balls|Yards|Bälle)\b|\babout less\b|\betwa weniger\b"
)


@pytest.mark.parametrize(
    "studio",
    ['units_shown = "yards"', pytest.param('units_shown = "metres"', marks=pytest.mark.slow),
     pytest.param('language = "de"', marks=pytest.mark.slow), 'language = "de"\nunits_shown = "metres"'],
)  # fmt: skip
def test_no_case_prints_a_number_that_nobody_would_say(studio: str) -> None:
    distinct = {id(fitting): fitting for each in cases() for fitting in (each.earns, *each.misses)}
    found = {}
    for fitting in list(distinct.values())[:: 2 if "de" in studio else 1]:
        for line in text(fitting, studio).split("\n"):
            if NEVER.search(line.strip()):
                found[line.strip()] = NEVER.search(line.strip())
    assert found == {}


# --- sentences with their numbers ---------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("fitting", "studio", "said"),
    [
        (visit((0.3, 0.2)), "", "Driver 2 carried a little farther than your own club: less than 1 yard."),
        (visit((0.8, 0.2)), "", "a little farther than your own club: 1 yard."),
        (visit((4.8, 1)), "", "The difference is likely real, but smaller than the 5 yards taken to matter."),
        (visit((4.999, 1)), "", "your own club: 4.9 yards."),
        (visit((4.95, 1)), 'units_shown = "metres"', "your own club: about 4.5 metres."),
        (visit((4.4, 1)), "", "your own club: 4 yards."),
        (visit((5, 4.9)), "", "Driver 2 carried 5 yards farther than your own club."),
        (with_means(visit((6, 1)), 1, carry_m=208 * YARD), "", "Driver 2 carried about 6 yards farther"),
        (visit((-4.8, 1)), "", "Driver 2 came nearest, 4.8 yards behind: likely real, but smaller than the 5 yards"),
        (visit((0, 9)), "", "Driver 2 came nearest, less than 1 yard behind; that may still be chance."),
        (visit((0.7, 0.6)), "", "Driver 2 is likely a little longer than your own club, by less than the 5 yards"),
        (visit((1, 0.7), smallest_difference_m=0.5 * YARD), "", "the true gain lies between 0 and 2 yards."),
        (visit((0.7, 0.6), smallest_difference_m=0.5 * YARD), "", "the true gain lies between 0 and 1 yard."),
        (visit((0.4, 0.3), smallest_difference_m=0.5 * YARD), "", "smaller than the 0.5 yards taken to matter"),
        (visit((8, 12, 1)), "", "about 1 ball more with each would tell it to within 5 yards."),
        (visit((6, 1), None), "", "Not compared, because too few shots counted or they were too uneven: Driver 3."),
        (visit(*[(i / 9, 9) for i in range(13)]), "", "Of 13 builds, compared with your own club: 0 likely longer"),
        (visit(*[(6, 1)] * 6, ways=True), "", "Of 6 builds, compared with “as always”: 6 likely longer"),
        (loft(0.6, 1.5), "", "Loft: a change of +0.6° would likely help"),
        (loft(-0.4, 1.5), "", "Loft: −0.4° would be best for carry, +1.5° for the total."),
        (launch_window("too_low", 11.0, 2100, 0.51), "", "You start below it: 1 yard could be gained."),
        (launch_window("in", 13, 2500, top=(99.6, 99)), "", "flight for carry, 100 ft, is in the 100 to 110 ft"),
        (launch_window("in", 13, 2500, total=True), "", "The best top of flight for the total is 90 ft."),
    ],
)  # fmt: skip
def test_a_sentence_says_its_numbers_as_a_person_would(fitting: Fitting, studio: str, said: str) -> None:
    assert said in re.sub(r"\s+", " ", text(fitting, studio))


@given(
    difference=st.floats(-30, 30),
    half=st.floats(0.01, 30),
    smallest=st.floats(0.5, 12),
    units=st.sampled_from(["yards", "metres"]),
    language=st.sampled_from(["en", "de"]),
)
def test_page_one_never_contradicts_itself(
    difference: float, half: float, smallest: float, units: str, language: str
) -> None:
    """What is called smaller than what matters prints smaller, and no amount prints as nothing."""
    fitting = visit((difference, half, 5), smallest_difference_m=smallest * YARD)
    page = wording.page_of(fitting, settings.load(f'units_shown = "{units}"\nlanguage = "{language}"'))
    facts = wording.facts(page)
    said = f"{wording.lead(page, facts)} {wording.under(page, facts)} {wording.suggestions(page, facts)[0]}"
    assert not NEVER.search(said.replace(NBSP, " "))
    if page.finding.code.endswith("_small"):
        shown = [
            float(facts[name].split(NBSP)[0].replace(",", "."))
            for name in ("difference", "smallest")
            if facts[name][0].isdigit()
        ]
        assert len(shown) < 2 or shown[0] < shown[1]


def test_attack_and_fit_are_told_as_one_or_apart() -> None:
    gains = gain("attack", 3), gain("fit", 2), gain("attack_and_fit", 5)
    apart, as_one = text(told(*gains)), text(told(*gains, together_only=True))
    for said in ("Attack angle brought about 3 yards", "A club that fits brought about 2 yards"):
        assert said in apart
        assert said not in as_one
    assert "Attack angle and fit together brought about 5 yards" in as_one
    assert "fit together" not in apart


def test_a_club_that_stays_the_same_is_not_praised_for_its_fit() -> None:
    levers = told(gain("fit", 3), steps=(story(gain("fit", 3)), story(gain("fit", 3)))).levers
    another, same = text(visit((5, 4.9), levers=levers)), text(visit((5, 4.9), ways=True, levers=levers))
    assert "A club that fits brought about 3 yards" in another
    assert "Grip between face and ball brought about 3 yards" in same
    assert "A club that fits" not in same


# --- whole files --------------------------------------------------------------------------------------------------
HEAD = "Club,Carry (yd),Ball speed (mph),Launch angle (deg),Spin rate (rpm)"


def rows(club: str, carry: float, shots: int = 6, unread: int = 0) -> list[str]:
    """Invent shots that differ a little; of the last ones the spin was not read."""
    spins = [2800 + 17 * i for i in range(shots - unread)] + [0] * unread
    balls = [f"{135 + 0.4 * i:.1f},{12 + 0.1 * (i % 4):.1f},{spin}" for i, spin in enumerate(spins)]
    return [f"{club},{carry + 0.3 * (i % 3):.1f},{ball}" for i, ball in enumerate(balls)]


def page_of_file(*lines: str) -> str:
    file = ShotFile("invented.csv", "\n".join([*lines, ""]).encode())
    made = session.fit("visit", [file], VisitFacts(), settings.load(), dt.date(2026, 11, 25), "id")
    assert isinstance(made, Fitting)
    return re.sub(r"\s+", " ", text(made))


def test_a_bag_of_too_few_balls_is_no_bag() -> None:
    clubs = ["Driver", "5 wood", "7 iron", "Sand wedge"]
    said = page_of_file(HEAD, *(row for i, club in enumerate(clubs) for row in rows(club, 230 - 30 * i, 2)))
    assert "The other clubs are of other kinds and are not compared with it." in said
    assert not re.search(r"true average (lies|\d)", said)
    one = page_of_file(HEAD, *rows("Driver", 230, 2), *rows("5 wood", 210, 2), *rows("7 iron", 150, 6))
    assert "How do your clubs follow one another?" not in one


def test_one_ball_with_the_own_club_is_too_few() -> None:
    said = page_of_file(HEAD, *rows("Own driver", 200, 1), *rows("Driver 2", 205))
    assert "Too few shots counted to compare the builds." in said


def test_two_balls_give_no_range() -> None:
    said = page_of_file("Club,Carry (yd)", "Own driver,150", "Own driver,250")
    assert "Your club carried 200 yd on average." in said
    assert not re.search(r"true average (lies|\d)", said)


def test_a_build_of_which_nothing_was_read_is_too_few() -> None:
    said = page_of_file(HEAD, *rows("Own driver", 200, 10), *rows("Driver 2", 205, 6, unread=6))
    assert "Too few shots counted to compare the builds." in said


def test_a_build_with_too_few_carries_among_its_counted_shots_is_left_out() -> None:
    build = rows("Driver 2", 205, 10, unread=3)
    fewer = [row.replace(f",{row.split(',')[1]},", ",,", 1) for row in build[:4]]
    said = page_of_file(HEAD, *rows("Own driver", 200, 10), *fewer, *build[4:])
    assert "Too few shots counted to compare the builds." in said


def test_a_club_that_could_not_be_averaged_may_fill_a_hole() -> None:
    irons = [rows(f"{number} iron", 200 - 12 * number, 8, unread=4 * (number == 8)) for number in (6, 7, 8, 9)]
    said = page_of_file(HEAD, *(row for iron in irons for row in iron))
    assert "Between 7 iron and 9 iron a distance is missing, unless a club left out fills it." in said
    assert "too uneven: 8 iron." in said


def test_an_iron_is_told_of_no_window_no_tee_and_no_fairway(iron_fitting: Fitting) -> None:
    assert {
        key for key in printed(iron_fitting) if key.startswith("window.") or "tee" in key or key == "accuracy.width"
    } == set()
    assert "way.centre_strikes" in printed(iron_fitting)
