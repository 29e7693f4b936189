"""The chain from bytes to a fitting, on the example visits and on invented ones."""

import datetime as dt
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline import findings, issuing, report, session, settings, visit_facts, visits
from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread
from pipeline.records import Fitting, Refusal, ShotFile, VisitFacts
from pipeline.work_messages import Job

TODAY = dt.date(2026, 11, 25)


def fit(*files: ShotFile) -> Fitting | Refusal:
    return session.fit("visit", files, VisitFacts(), settings.load(), TODAY, issuing.visit_id(files))


def test_every_planted_fault_of_the_driver_visit_is_found_and_nothing_else(driver_fitting: Fitting) -> None:
    aside = {s.number: (s.fate.fate, s.fate.code) for s in driver_fitting.shots if s.fate.fate != "counted"}
    assert aside == {
        5: ("mishit", "slow_ball"),
        9: ("bad_read", "flight_disagrees"),
        17: ("mishit", "slow_ball"),
        20: ("bad_read", "duplicate"),
        25: ("bad_read", "flight_disagrees"),
        29: ("mishit", "slow_ball"),
    }


def test_the_iron_visit_is_modelled_throughout(iron_fitting: Fitting) -> None:
    assert set(iron_fitting.sources.values()) == {"modelled"}
    aside = {s.number: s.fate.code for s in iron_fitting.shots if s.fate.fate != "counted"}
    assert aside == {7: "slow_ball", 18: "zero_spin"}


def test_a_measured_carry_with_no_total_gets_the_models_run(phases_fitting: Fitting) -> None:
    assert phases_fitting.sources["carry_m"] == "measured"
    assert phases_fitting.sources["total_m"] == "run_modelled"
    shot = phases_fitting.shots[0]
    assert 0 < shot.used["total_m"] - shot.used["carry_m"] < 50
    assert shot.used["carry_m"] == shot.measured["carry_m"]


def test_one_club_hit_in_two_ways_gives_two_sets(phases_fitting: Fitting) -> None:
    assert [(r.set.label, r.set.phase, r.set.is_own) for r in phases_fitting.sets] == [
        ("Eigener Driver", "Ball wie immer", True),
        ("Eigener Driver", "Ball höher aufgeteet", False),
    ]
    assert phases_fitting.date == dt.date(2026, 11, 24)


def test_every_shot_has_one_fate_and_the_counts_agree(driver_fitting: Fitting) -> None:
    fates = Counter(s.fate.fate for s in driver_fitting.shots)
    assert fates["mishit"] == sum(r.n_mishit for r in driver_fitting.sets)
    assert fates["bad_read"] == sum(r.n_bad_read for r in driver_fitting.sets)
    assert fates["counted"] + fates["asked"] == sum(r.n_counted for r in driver_fitting.sets)
    assert sum(fates.values()) == 33


def test_the_winner_is_named_and_proven(driver_fitting: Fitting) -> None:
    finding = findings.answer(driver_fitting)
    assert (finding.code, finding.subject.set.label) == ("longer_real", "Driver 3")
    assert finding.comparison is not None
    assert finding.comparison.low > 0


def test_staff_may_overrule_either_way_with_a_reason() -> None:
    text = """
[[shot]]
file = "invented.csv"
line = 2
counts = false
reason = "talked to"
[[shot]]
file = "invented.csv"
line = 9
counts = true
reason = "seen well struck"
"""
    rows = ["Driver,200.0"] * 3 + ["Driver,201.0"] * 4 + ["Driver,120.0"]
    file = ShotFile("invented.csv", "\n".join(["Club,Carry (yd)", *rows, ""]).encode())
    made = session.fit("v", [file], visit_facts.read(text), settings.load(), TODAY, "id")
    assert isinstance(made, Fitting)
    assert (made.shots[0].fate.fate, made.shots[0].fate.by, made.shots[0].fate.words) == (
        "mishit",
        "staff",
        "talked to",
    )
    assert (made.shots[7].fate.fate, made.shots[7].fate.by) == ("counted", "staff")


def test_the_same_input_gives_the_same_figures(make_file: Callable[..., ShotFile]) -> None:
    file = make_file(["Own driver", "Driver 2"], seed=3)
    first, second = fit(file), fit(file)
    assert isinstance(first, Fitting)
    assert isinstance(second, Fitting)
    assert (first.sets, first.shots, first.comparisons) == (second.sets, second.shots, second.comparisons)


def test_a_visit_is_judged_by_what_the_studio_had_learned(make_file: Callable[..., ShotFile], tmp_path: Path) -> None:
    file = make_file(["Own driver", "Driver 2", "Driver 3"], seed=3)
    (tmp_path / "kept").write_bytes(file.content)
    kept = ((file.name, str(tmp_path / "kept")),)
    between = BetweenClubs(0.9144, 60.0, "history")
    learned = History((KindHistory("driver", 40, between, TypicalSpread(9.0, 20.0)),))
    plain, known = (
        visits.work_out(Job("visit", "id", kept, settings.load(), TODAY, {}, history=history))
        for history in (None, learned)
    )
    assert isinstance(plain, Fitting)
    assert isinstance(known, Fitting)
    assert (plain.history, known.history) == (None, learned)
    assert (plain.judged.history_customers, known.judged.history_customers) == (0, 40)
    assert known.judged.prior == between
    for before, after in zip(plain.judged.expectations, known.judged.expectations, strict=True):
        assert after.measured == before.measured
        assert abs(after.expected) < abs(before.expected)
    assert known.comparisons == plain.comparisons
    said = report.render(known, settings.load())
    assert "differ by about 1.0\u00a0yards for one customer: so they did for at least 40 customers" in said
    assert "our judgement" not in said


@pytest.mark.parametrize(
    ("content", "outcome", "exit_code", "says"),
    [
        (b"", "wait", 2, "empty"),
        (b"Club,Ball speed,Carry\nDriver,140,220\nDriver,141,222\n", "held", 3, "No unit"),
        (b"<html><body><table></table></body></html>", "set_back", 2, "no table of shots"),
        (b"Club,Carry (yd)\nDriver,9999\n", "set_back", 4, "No line"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_in_plain_words(
    content: bytes, outcome: str, exit_code: int, says: str
) -> None:
    refused = fit(ShotFile("invented.csv", content))
    assert isinstance(refused, Refusal)
    assert (refused.outcome, refused.exit_code) == (outcome, exit_code)
    assert says in refused.what
    assert refused.where == "invented.csv"
    assert refused.to_do


def test_a_visits_id_depends_on_content_alone() -> None:
    a, b = ShotFile("a.csv", b"1"), ShotFile("b.csv", b"2")
    assert issuing.visit_id([a, b]) == issuing.visit_id([ShotFile("x.csv", b"2"), ShotFile("y.csv", b"1")])
    assert issuing.visit_id([a]) != issuing.visit_id([b])
    assert issuing.visit_id([a], "hand = 'left'") != issuing.visit_id([a])
