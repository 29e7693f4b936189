"""Staff's word on shots as fields and back: a reason is asked for, and words on other shots stay."""

import tomllib
from typing import Any

import pytest

from pipeline import desk_facts, desk_overrules, visit_facts
from pipeline.desk_overrules import choice, reason
from pipeline.desk_report import read, shot_key
from tests import kept_report

REPORT = read(kept_report.content())
assert REPORT
SHOTS = REPORT.shots
ONE, TWO = (shot.key for shot in SHOTS[:2])
KEPT = """
[[shot]]
file = "shots.csv"
line = 2
counts = true
reason = "an earlier word"
[[shot]]
file = "gone.csv"
line = 7
counts = false
reason = "of a file that is gone"
[[shot]]
file = "shots.csv"
line = 2
counts = false
reason = "talked to"
"""


def changed(kept: str = KEPT, **fields: str) -> tuple[dict[str, Any], dict[str, str]]:
    found = tomllib.loads(kept)
    faults = desk_overrules.put(found, {**desk_overrules.shown(found, SHOTS), **fields}, SHOTS)
    visit_facts.read(desk_facts.dumped(found).decode())
    return found, faults


def test_of_two_words_on_a_shot_the_last_is_shown_as_it_is_the_one_that_holds() -> None:
    fields = desk_overrules.shown(tomllib.loads(KEPT), SHOTS)
    assert (fields[choice(ONE)], fields[reason(ONE)]) == ("aside", "talked to")
    assert (fields[choice(TWO)], fields[reason(TWO)]) == ("rule", "")
    assert len(fields) == 2 * len(SHOTS)


def test_sent_back_unchanged_nothing_moves() -> None:
    assert changed() == (tomllib.loads(KEPT), {})
    assert changed("") == ({}, {})
    lines = KEPT.replace('"talked to"', '"""talked\n to"""')
    assert changed(lines) == (tomllib.loads(lines), {})


def test_a_new_word_comes_after_the_others() -> None:
    found, faults = changed(**{choice(TWO): "counts", reason(TWO): " it  was fine\r\n"})
    assert faults == {}
    assert found["shot"][:3] == tomllib.loads(KEPT)["shot"]
    assert found["shot"][3:] == [{"file": "shots.csv", "line": 3, "counts": True, "reason": "it was fine"}]


def test_a_changed_word_takes_the_place_of_the_one_that_held() -> None:
    found, _ = changed(**{choice(ONE): "counts", reason(ONE): "seen"})
    assert found["shot"][2] == {"file": "shots.csv", "line": 2, "counts": True, "reason": "seen"}
    assert found["shot"][:2] == tomllib.loads(KEPT)["shot"][:2]


def test_where_the_rules_decide_again_no_word_is_left() -> None:
    found, faults = changed(**{choice(ONE): "rule", reason(ONE): ""})
    assert ([word["file"] for word in found["shot"]], faults) == (["gone.csv"], {})
    only = '[[shot]]\nfile = "shots.csv"\nline = 2\ncounts = false\nreason = "x"\n'
    assert changed(only, **{choice(ONE): "rule", reason(ONE): ""})[0] == {}


@pytest.mark.parametrize(
    ("chosen", "why", "field", "said"),
    [
        ("counts", "", "why", "Shot 2: say why in a few words"),
        ("aside", " \x00 ", "why", "Shot 2: say why in a few words"),
        ("rule", "a slip", "why", "Shot 2: a reason stands here, but the rules decide"),
        ("aside", "w" * 2001, "why", "Shot 2: at most 2,000 characters"),
        ("perhaps", "x", "shot", "Shot 2: choose what becomes of it"),
    ],
)
def test_what_lacks_is_said_at_its_field(chosen: str, why: str, field: str, said: str) -> None:
    _, faults = changed(**{choice(TWO): chosen, reason(TWO): why})
    assert list(faults) == [f"{field}-{TWO}"]
    assert said in faults[f"{field}-{TWO}"]


def test_everything_that_lacks_is_said_at_once() -> None:
    assert len(changed(**{choice(shot.key): "counts" for shot in SHOTS[1:]})[1]) == len(SHOTS) - 1


def test_what_somebody_wrote_wrongly_is_passed_over() -> None:
    odd = {"shot": [3, {"file": "shots.csv"}, {"file": "shots.csv", "line": "2", "counts": True}]}
    assert set(desk_overrules.shown(odd, SHOTS).values()) == {"rule", ""}
    assert set(desk_overrules.shown({"shot": 5}, SHOTS).values()) == {"rule", ""}
    assert shot_key("shots.csv", 2) == ONE
