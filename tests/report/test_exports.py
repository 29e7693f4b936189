"""fitting.json and shots.csv: complete, consistent, harmless in a spreadsheet."""

import csv
import io
import json
from collections.abc import Callable

from pipeline import exports
from pipeline.records import Fitting, ShotFile

FitFiles = Callable[..., Fitting]


def test_json_says_what_the_report_says(driver_fitting: Fitting) -> None:
    made = json.loads(exports.fitting_json(driver_fitting))
    assert made["schema"] == exports.SCHEMA_VERSION
    assert made["visit"]["customer"] == "Customer 0142"
    assert [s["letter"] for s in made["sets"]] == ["A", "B", "C"]
    best = next(c for c in made["comparison"] if c["build"] == "C")
    means = {s["letter"]: s["averages"]["carry_m"]["mean"] for s in made["sets"]}
    assert abs(best["difference"] - (means["C"] - means["A"])) < 1e-9
    assert len(made["shots"]) == len(driver_fitting.shots)
    assert {s["fate"] for s in made["shots"]} == {"counted", "mishit", "bad_read"}


def test_json_never_holds_nan(make_file: Callable[..., ShotFile], fit_files: FitFiles) -> None:
    text = exports.fitting_json(fit_files([make_file(["Driver"], shots=1, carry_only=True)]))
    assert "NaN" not in text
    assert json.loads(text)["sets"][0]["averages"]["carry_m"]["sd"] is None


def test_csv_has_a_row_a_shot_and_measured_values(driver_fitting: Fitting) -> None:
    rows = list(csv.DictReader(io.StringIO(exports.shots_csv(driver_fitting))))
    assert len(rows) == len(driver_fitting.shots)
    assert float(rows[0]["ball_speed_mps"]) == round(driver_fitting.shots[0].measured["ball_speed_mps"], 8)
    assert rows[8]["fate"] == "bad_read"


def test_csv_says_which_flight_values_were_modelled(iron_fitting: Fitting) -> None:
    head = exports.shots_csv(iron_fitting).splitlines()[0].split(",")
    assert "used_carry_m" in head
    assert "carry_m" not in head


def test_a_label_is_never_a_formula(make_file: Callable[..., ShotFile], fit_files: FitFiles) -> None:
    made = exports.shots_csv(fit_files([make_file(["=1+1", "+cmd", "@sum", "-x"])]))
    labels = {row["club"] for row in csv.DictReader(io.StringIO(made))}
    assert labels == {"'=1+1", "'+cmd", "'@sum", "'-x"}
