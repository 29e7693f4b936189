"""Visits for the report's tests: the example drop folder, and invented ones of any shape."""

import datetime as dt
import random
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from pipeline import issuing, session, settings, visit_facts
from pipeline.records import Fitting, Refusal, ShotFile, VisitFacts

TODAY = dt.date(2026, 11, 25)
EXAMPLE = Path(__file__).resolve().parent.parent.parent / "inbox_example"

FitFiles = Callable[..., Fitting]
MakeFile = Callable[..., ShotFile]


def _fit(files: Sequence[ShotFile], facts: VisitFacts | None = None, studio: str = "", name: str = "visit") -> Fitting:
    made = session.fit(name, files, facts or VisitFacts(), settings.load(studio), TODAY, issuing.visit_id(files))
    assert not isinstance(made, Refusal), made
    return made


@pytest.fixture(scope="session")
def fit_files() -> FitFiles:
    """Work out some files; fails the test when they are refused."""
    return _fit


@pytest.fixture(scope="session")
def driver_fitting() -> Fitting:
    """The example's driver visit: three builds, six planted faults."""
    folder = EXAMPLE / "customer 0142"
    file = ShotFile("driver shots.csv", (folder / "driver shots.csv").read_bytes())
    return _fit([file], visit_facts.read((folder / "visit.toml").read_text(encoding="utf-8")), name="customer 0142")


@pytest.fixture(scope="session")
def iron_fitting() -> Fitting:
    """The example's iron visit: no carry in the file."""
    name = "customer 0207 irons.tsv"
    return _fit([ShotFile(name, (EXAMPLE / name).read_bytes())], name="customer 0207 irons")


@pytest.fixture(scope="session")
def phases_fitting() -> Fitting:
    """The example's visit of one club hit in two ways, with German words."""
    name = "customer 0311 driver.csv"
    return _fit([ShotFile(name, (EXAMPLE / name).read_bytes())], name="customer 0311 driver")


def _make_file(clubs: Sequence[str], shots: int = 6, *, carry_only: bool = False, seed: int = 1) -> ShotFile:
    """Invent a file: each club some shots, about 5 yards longer than the one before."""
    dice = random.Random(seed)  # noqa: S311 - invented shots
    rows = []
    for i, club in enumerate(clubs):
        quoted = '"' + club.replace('"', '""') + '"'
        for _ in range(shots):
            carry, side = 200 + 5 * i + dice.gauss(0, 4), dice.gauss(0, 6)
            ball = 135 + 2 * i + dice.gauss(0, 1)
            more = (
                ""
                if carry_only
                else f",{ball:.1f},{12 + dice.gauss(0, 0.8):.1f},{2900 + dice.gauss(0, 150):.0f},{side:.1f}"
            )
            rows.append(f"{quoted},{carry:.1f}{more}")
    head = "Club,Carry (yd)" + (
        "" if carry_only else ",Ball speed (mph),Launch angle (deg),Spin rate (rpm),Offline (yd)"
    )
    return ShotFile("invented.csv", "\n".join([head, *rows, ""]).encode())


@pytest.fixture(scope="session")
def make_file() -> MakeFile:
    """Invent a shot file."""
    return _make_file
