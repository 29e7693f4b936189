"""fitting.json read back: of it the report's comparison and levers come out again, word for word, or it is damaged."""

import json
import math
from collections.abc import Callable
from typing import Any

import pytest

from pipeline import exports, fitting_record, report, wording
from pipeline.errors import FolderError
from pipeline.records import Fitting
from pipeline.settings import load
from tests.report.sentence_cases import cases, visit


def again(fitting: Fitting, change: Callable[[dict[str, Any]], object] = lambda _: None) -> Fitting:
    """Write a fitting and read it back, with something changed in between."""
    document = json.loads(exports.fitting_json(fitting))
    change(document)
    return fitting_record.read(json.dumps(document).encode(), "fitting.json")


@pytest.mark.parametrize("studio", ["", 'language = "de"\nunits_shown = "metres"'])
def test_every_sentence_comes_out_again(studio: str) -> None:
    chosen = load(studio)
    for case in cases()[bool(studio) :: 4 if studio else 2]:  # each of the rest is much like its neighbour
        written, read = (report.of_levers(wording.page_of(one, chosen)) for one in (case.earns, again(case.earns)))
        assert read == written, case.keys


def test_so_do_those_of_whole_visits(driver_fitting: Fitting, phases_fitting: Fitting, iron_fitting: Fitting) -> None:
    for fitting in (driver_fitting, phases_fitting, iron_fitting):
        written, read = (report.of_levers(wording.page_of(one, load(""))) for one in (fitting, again(fitting)))
        assert read == written
        assert read["pictures"]["levers"] or fitting is iron_fitting


def test_all_that_is_said_of_levers_stands_in_the_report(driver_fitting: Fitting) -> None:
    page = report.render(driver_fitting, load(""))
    said = report.of_levers(wording.page_of(driver_fitting, load("")))
    assert all(str(drawn) in page for drawn in said["pictures"].values())
    assert said["verdicts"] in page
    assert " ".join(said["brought_sentences"]) in page


def test_a_figure_that_was_none_is_none_again() -> None:
    lonely = visit((3.0, 4.0), n=1)
    assert math.isnan(again(lonely).sets[0].averages["carry_m"].low)


def test_what_another_version_wrote_or_left_out_is_passed_over() -> None:
    def change(document: dict[str, Any]) -> None:
        document["comparison"][0] |= {"colour": "blue"}
        del document["comparison"][0]["method"]

    [read] = again(visit((3.0, 4.0)), change).comparisons
    assert (read.method, read.build, read.against) == ("welch", 1, 0)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("sets", 0, "own_club"), False),
        (("sets", 1, "own_club"), True),
        (("sets", 1, "own_club"), "no"),
        (("sets", 1, "letter"), "A"),
        (("sets", 1, "label"), 7),
        (("sets", 0, "n_counted"), 1.5),
        (("sets", 0, "n_counted"), 10**30),
        (("sets", 0, "averages", "carry_m", "mean"), "far"),
        (("sets", 0, "averages", "carry_m", "mean"), True),
        (("comparison", 0, "difference"), 1e300),
        (("comparison", 0, "difference"), -2e6),
        (("comparison", 0, "difference"), math.nan),
        (("comparison", 0, "build"), "Z"),
        (("comparison", 0), {}),
        (("comparison",), {"build": "A"}),
        (("visit", "date"), "yesterday"),
        (("visit",), None),
        (("gapping",), "A"),
        (("levers",), []),
    ],
)
def test_what_is_no_such_record_is_damaged(path: tuple[str | int, ...], value: object) -> None:
    def change(document: dict[str, Any]) -> None:
        place: Any = document
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = value

    with pytest.raises(FolderError, match=r"^fitting\.json: it is damaged \(\w+\)\. Make the report anew\.$"):
        again(visit((3.0, 4.0)), change)
