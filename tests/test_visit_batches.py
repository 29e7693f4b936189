"""Many visits worked out at once: the same rows, to the byte, as when each is worked out alone."""

import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path

import polars as pl
import pytest

from pipeline import issuing, profiles, settings, shot_archive, visit_batches, visits
from pipeline.records import Decided, Given, Refusal, ShotFile
from pipeline.session import decide
from pipeline.settings import Settings
from pipeline.work_messages import Archived, Batch, Job
from tests import varied_visits
from tests.varied_visits import Visit

DAY = dt.date(2024, 5, 6)
OTHER_AIR = "device_altitude_m = 1500\ndevice_temperature_c = 5\n"


def jobs(
    folder: Path, many: Sequence[Visit], chosen: Settings | None = None, answers: dict[str, Given] | None = None
) -> list[Job]:
    made = []
    for visit in many:
        originals = []
        for file in visit.files:
            path = folder / f"{visit.name} {file.name}"
            path.write_bytes(file.content)
            originals.append((file.name, str(path)))
        identity = issuing.visit_id(visit.files, visit.name)
        made.append(Job(visit.name, identity, tuple(originals), chosen or settings.load(), DAY, answers or {}))
    return made


def one_by_one(many: Sequence[Job]) -> Archived:
    outcomes: list[str | Refusal] = []
    frames: dict[str, list[pl.DataFrame]] = {}
    for job in many:
        found = _decided(job)
        if isinstance(found, Refusal):
            outcomes.append(found)
            continue
        month = f"{found.date:%Y-%m}"
        outcomes.append(month)
        frames.setdefault(month, []).append(shot_archive.rows(found, job.identity, "studio", "secret"))
    return Archived(tuple(outcomes), {month: shot_archive.written(pl.concat(rows)) for month, rows in frames.items()})


def _decided(job: Job) -> Decided | Refusal:
    opened = visits.opened(job)
    if isinstance(opened, Refusal):
        return opened
    return decide(opened[0], opened[1], job.settings, job.today, job.answers)


def read(found: Archived) -> pl.DataFrame:
    frames = [pl.read_parquet(io.BytesIO(content)) for content in found.files.values()]
    return pl.concat(frames).sort("visit", "number")


def assert_alike(batch: Archived, alone: Archived) -> None:
    assert batch.outcomes == alone.outcomes
    different = read(batch).join(read(alone), on=read(alone).columns, how="anti", nulls_equal=True)
    assert different.is_empty(), different
    assert batch.files == alone.files


@pytest.mark.parametrize("extra", [pytest.param("", marks=pytest.mark.slow), OTHER_AIR])
def test_a_batch_gives_the_rows_of_each_visit_alone(tmp_path: Path, extra: str) -> None:
    many = jobs(tmp_path, varied_visits.visits(60, 1000 if extra else 0), settings.load(extra))
    alone = one_by_one(many)
    fates = set(read(alone)["fate"])
    assert fates == {"counted", "mishit", "asked", "bad_read"}
    assert any(isinstance(outcome, Refusal) for outcome in alone.outcomes)
    assert set(read(alone)["carry_measured"]) == {True, False}
    assert_alike(visit_batches.archive(Batch(tuple(many), "studio", "secret")), alone)


@pytest.mark.slow
@pytest.mark.parametrize("extra", ["", OTHER_AIR])
def test_hundreds_of_visits_give_the_rows_of_each_alone(tmp_path: Path, extra: str) -> None:
    many = jobs(tmp_path, varied_visits.visits(700, 5000 if extra else 2000), settings.load(extra))
    assert_alike(visit_batches.archive(Batch(tuple(many), "studio", "secret")), one_by_one(many))


def test_answers_for_a_layout_are_put_to_use_in_a_batch_as_alone(tmp_path: Path) -> None:
    lines = "\n".join(f"Driver,{60 + n},{220 + n}" for n in range(6))
    many = [
        Visit(f"visit {n}", (ShotFile(f"{n}.csv", f"Club,Ball speed,Carry\n{lines}\nDriver,60,{n}\n".encode()),))
        for n in range(5)
    ]
    asked = visit_batches.archive(Batch(tuple(jobs(tmp_path, many)), "studio", "secret"))
    assert [isinstance(outcome, Refusal) and outcome.outcome for outcome in asked.outcomes] == ["held"] * 5
    layout = profiles.fingerprint(("Club", "Ball speed", "Carry"))
    answers = {layout: Given(column_units={"Ball speed": "m/s", "Carry": "m"})}
    answered = jobs(tmp_path, many, answers=answers)
    found = visit_batches.archive(Batch(tuple(answered), "studio", "secret"))
    assert found.outcomes == ("2024-05",) * 5
    assert_alike(found, one_by_one(answered))


def test_an_empty_batch_has_nothing_to_say() -> None:
    assert visit_batches.archive(Batch((), "studio", "secret")) == Archived((), {})


def test_a_batch_of_refusals_alone_makes_no_rows(tmp_path: Path) -> None:
    many = jobs(tmp_path, [Visit("a", (ShotFile("visit.toml", b""),)), Visit("b", (ShotFile("b.csv", b"no table"),))])
    found = visit_batches.archive(Batch(tuple(many), "studio", "secret"))
    assert found.files == {}
    assert found.outcomes == one_by_one(many).outcomes
