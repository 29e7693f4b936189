"""fitting.json and shots.csv: complete, consistent, harmless in a spreadsheet."""

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from pipeline import exports, history_text
from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread
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


def test_json_holds_everything_judged_with_letters_for_the_sets(driver_fitting: Fitting) -> None:
    document = json.loads(exports.fitting_json(driver_fitting))
    judged = driver_fitting.judged
    assert [(o["build"], o["against"], o["adjusted"]) for o in document["order"]] == [
        ("B", "A", False),
        ("C", "A", False),
    ]
    assert [a["set"] for a in document["accuracy"]] == ["A", "B", "C"]
    assert document["accuracy"][1]["width"]["sd"] == judged.accuracies[1].width.sd
    assert [(s["build"], s["quantity"]) for s in document["spread"]] == [
        ("B", "offline_m"), ("C", "offline_m"), ("B", "carry_m"), ("C", "carry_m"),
    ]  # fmt: skip
    assert judged.exchange is not None
    assert document["exchange"]["left_m"] == judged.exchange.left_m
    assert document["expectation_prior"] == {"spread_m": 2.7432, "freedom": 8.0, "source": "stated"}
    assert document["gapping"] is None
    assert document["mean_and_median_part"] == []


def test_json_names_the_clubs_of_a_bag_by_letter(make_file: Callable[..., ShotFile], fit_files: FitFiles) -> None:
    bag = json.loads(exports.fitting_json(fit_files([make_file(["9 iron", "8 iron", "7 iron"])])))["gapping"]
    assert [club["set"] for club in bag["clubs"]] == ["C", "B", "A"]
    assert [(gap["longer"], gap["shorter"]) for gap in bag["gaps"]] == [("C", "B"), ("B", "A")]


def test_json_gives_no_mean_of_a_set_too_uneven_to_average(driver_fitting: Fitting) -> None:
    first = driver_fitting.sets[0]
    fitting = replace(driver_fitting, sets=(replace(first, uneven=True), *driver_fitting.sets[1:]))
    uneven, even = json.loads(exports.fitting_json(fitting))["sets"][:2]
    assert [uneven["averages"]["carry_m"][key] for key in ("mean", "low", "high")] == [None] * 3
    assert uneven["averages"]["carry_m"]["median"] == first.averages["carry_m"].median
    assert even["averages"]["carry_m"]["mean"] == driver_fitting.sets[1].averages["carry_m"].mean


def test_the_document_keeps_what_the_studio_had_learned(driver_fitting: Fitting) -> None:
    assert json.loads(exports.fitting_json(driver_fitting))["visit"]["history"] is None
    learned = History((KindHistory("driver", 40, BetweenClubs(1.8288, 60.0, "history"), TypicalSpread(9.0, 20.0)),))
    kept = json.loads(exports.fitting_json(replace(driver_fitting, history=learned)))["visit"]["history"]
    assert history_text.believed(kept) == learned


def test_every_key_of_the_document_is_in_the_readme(driver_fitting: Fitting) -> None:
    readme = Path(__file__).resolve().parents[2].joinpath("README.md").read_text(encoding="utf-8")
    part = readme[readme.index("### fitting.json") : readme.index("## Other systems")]
    document = json.loads(exports.fitting_json(driver_fitting))
    keys = {*document, *(key for name in ("comparison", "expectation", "order", "spread") for key in document[name][0])}
    keys |= {*document["accuracy"][0], *document["exchange"], *document["expectation_prior"]}
    assert sorted(key for key in keys if not re.search(rf"\b{key}\b", part)) == []
