"""What the desk reads of fitting.json: whole, or not at all when somebody or something damaged it."""

from typing import Any

import pytest

from pipeline import desk_report
from pipeline.desk_report import club_key, shot_key
from tests import kept_report
from tests.kept_report import AIR, MEASURED, shot


def read(*shots: dict[str, Any], **changed: object) -> desk_report.Report | None:
    return desk_report.read(kept_report.content(*shots, **changed))


def test_clubs_and_shots_are_read() -> None:
    found = read()
    assert found
    assert [club.label for club in found.clubs] == ["Driver 9.5°", "Nameless two"]
    assert [(one.number, one.line, one.club.label, one.fate.fate) for one in found.shots[:4]] == [
        (1, 2, "Driver 9.5°", "counted"), (2, 3, "Driver 9.5°", "mishit"), (3, 4, "Driver 9.5°", "asked"),
        (4, 5, "Nameless two", "counted"),
    ]  # fmt: skip
    assert (found.files, found.own_from, found.unreadable) == (("shots.csv",), "first hit", 0)
    assert found.shots[1].fate.figures == {"ball_speed_mps": 50.0, "middle_ball_speed_mps": 66.0}
    assert found.shots[0].measured == MEASURED


def test_labels_that_are_one_for_visit_toml_are_one_club() -> None:
    sets = [
        {"letter": letter, "label": label, "phase": phase, "own_club": False}
        for letter, label, phase in (("A", "Own ", "low"), ("B", "own", "high"), ("C", "Owner", ""))
    ]
    found = read(shot(1, "A"), shot(2, "B"), shot(3, "C"), sets=sets)
    assert found
    assert [club.label for club in found.clubs] == ["Own ", "Owner"]
    assert [one.phase for one in found.shots] == ["low", "high", ""]
    assert found.shots[0].club.key == found.shots[1].club.key == club_key("OWN")


def test_a_place_has_one_key_and_no_other() -> None:
    places = [("a.csv", 1), ("a.csv", 11), ("a.csv-1", 1), ("A.csv", 1), ("\ud800", 1), ('"><b>', 1)]
    keys = [shot_key(*place) for place in places]
    assert len(set(keys)) == len(places)
    assert all(key.replace("-", "").isalnum() and key.isascii() for key in keys)


DAMAGES: list[Any] = [
    {"schema": 2}, {"sets": []}, {"sets": None}, {"shots": []}, {"shots": [shot(1), shot(1)]}, {"shots": [None]},
    {"shots": [shot(1, "Z")]}, {"shots": [shot(1, fate="lost")]}, {"shots": [shot(1, decided_by="nobody")]},
    {"shots": [shot(1, line=-1)]}, {"shots": [shot(1, line=2.5)]}, {"shots": [shot(1, line=True)]},
    {"shots": [shot(1, file=7)]}, {"shots": [shot(1, file="x" * 2001)]}, {"shots": [shot(1, reason=["x"])]},
    {"shots": [shot(1, measured={"carry_m": "205"})]}, {"shots": [shot(1, measured={"carry_m": float("nan")})]},
    {"shots": [shot(1, measured={"carry_m": 1e12})]}, {"shots": [shot(1, used={"carry_m": True})]},
    {"shots": [shot(1, used=[])]}, {"air": {}}, {"air": {**AIR, "firmness": "soup"}},
    {"air": {**AIR, "altitude_m": None}}, {"air": {**AIR, "more": 1.0}}, {"air": {**AIR, "temperature_c": -400.0}},
    {"visit": {}}, {"unreadable_rows": None},
]  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda damage: str(damage)[:60])
def test_what_is_damaged_is_not_read(damage: dict[str, Any]) -> None:
    assert desk_report.read(kept_report.content(**damage)) is None


@pytest.mark.parametrize("content", [b"", b"null", b"[]", b"{}", b"\xff", b"[" * 100_000, b'{"schema": 1'])
def test_what_is_no_document_is_not_read(content: bytes) -> None:
    assert desk_report.read(content) is None


def test_what_nobody_measured_is_left_out() -> None:
    found = read(shot(1, measured={"carry_m": None, "a_new_one": 3.0, "spin_rate_rpm": 2000}))
    assert found
    assert found.shots[0].measured == {"spin_rate_rpm": 2000.0}
