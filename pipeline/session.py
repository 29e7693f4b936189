"""One visit from start to end: the only module that names every stage."""

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, chain

import polars as pl

from pipeline import findings, profiles
from pipeline.analysis import ball_flight, judging, other_air, results, sets
from pipeline.analysis.attribution import asking_levers
from pipeline.analysis.ball_flight import FlightModel, model_of
from pipeline.analysis.cautions import cautions
from pipeline.analysis.device_check import device_checks
from pipeline.analysis.distances import distances, finished, side_by_side
from pipeline.analysis.fates import found_fates, overruled
from pipeline.analysis.outlook import asking_outlooks
from pipeline.errors import MappingError, TooFewShotsError, UnreadableFileError
from pipeline.judgements import DeviceCheck, History, HomeCourse
from pipeline.physics.atmosphere import Air, air_at
from pipeline.reading import read_shot_file, read_shot_files
from pipeline.records import (
    AirUsed,
    Decided,
    DecidedTogether,
    Fate,
    FileReading,
    Fitting,
    Given,
    Refusal,
    ShotFile,
    VisitFacts,
)
from pipeline.settings import Settings
from pipeline.staff_words import ask, explain

MOST_SHOTS = 2_000  # of a visit; a day's fitting of a whole bag has some hundreds


def refusal(readings: Sequence[FileReading]) -> Refusal | None:
    """Say why a visit cannot be used, if it cannot: the first file at fault speaks for it."""
    for reading in readings:
        if reading.fault is not None:
            code = MappingError.exit_code if reading.outcome == "needs_mapping" else UnreadableFileError.exit_code
            outcome = {"needs_mapping": "held", "retry": "wait"}.get(reading.outcome, "set_back")
            what, to_do = explain(reading)
            return Refusal(outcome, code, what, reading.name, to_do, ask(reading))
    where = ", ".join(reading.name for reading in readings)
    count = sum(reading.shots.height for reading in readings)
    if count > MOST_SHOTS:
        what = f"It holds {count:,} shots, and {MOST_SHOTS:,} are the most a visit can have."
        to_do = "Drop the shots of one visit only, as a file or as a folder of files."
        return Refusal("set_back", UnreadableFileError.exit_code, what, where, to_do)
    if not count:
        what = "No line of it could be used as a shot."
        to_do = "Look at the file in a text editor: are there shots in it, and are they those of this visit?"
        return Refusal("set_back", TooFewShotsError.exit_code, what, where, to_do)
    return None


def _date(readings: Sequence[FileReading], facts: VisitFacts, today: dt.date) -> dt.date:
    """Date of the visit: visit.toml, else the first date in the files, else today."""
    if facts.date:
        return facts.date
    written = (text for r in readings for key, text in r.meta.items() if key.lower() in ("date", "datum", "fecha"))
    for text in chain(_times(readings), written):
        found = re.match(r"\d{4}-\d\d-\d\d", text)
        if found:
            try:
                return dt.date.fromisoformat(found.group())
            except ValueError:  # the 31st of February
                continue
    return today


def _times(readings: Sequence[FileReading]) -> Iterator[str]:
    """Give the times in the files, the first one first; the others are only put in order when they are asked for."""
    clocks = [reading.shots["time"].drop_nulls() for reading in readings if "time" in reading.shots.columns]
    yield from sorted(str(clock.min()) for clock in clocks if len(clock))[:1]
    yield from sorted(time for clock in clocks for time in clock)


def _air(settings: Settings, altitude_m: float, temperature_c: float) -> Air:
    return air_at(altitude_m, temperature_c + 273.15, settings.humidity_percent / 100)


def _air_used(settings: Settings) -> AirUsed:
    """Give the studio's air and ground, and its own calibration of the model."""
    own_air = _device_has_own_air(settings)
    return AirUsed(
        altitude_m=settings.altitude_m,
        temperature_c=settings.temperature_c,
        humidity_percent=settings.humidity_percent,
        density_kgpm3=_air(settings, settings.altitude_m, settings.temperature_c).density_kgpm3,
        firmness=settings.firmness,
        drag_multiplier=settings.drag_multiplier,
        lift_multiplier=settings.lift_multiplier,
        device_altitude_m=settings.device_altitude_m if own_air else None,
        device_temperature_c=settings.device_temperature_c if own_air else None,
    )


def device_check(reading: FileReading, settings: Settings) -> tuple[DeviceCheck, ...]:
    """Compare one file's carry with the flight model in the studio's air."""
    shots = sets.with_all_columns(reading)
    frame = ball_flight.add_model(shots, model_of(_air_used(settings)))
    return device_checks(frame, [Fate("counted")] * frame.height)


def _with_flight(
    shots: pl.DataFrame, categories: pl.Series, settings: Settings
) -> tuple[pl.DataFrame, list[dict[str, str]]]:
    """Add kind of club, the model's flight and the values to be used, restated where the device states another air.

    categories: of each shot.
    """
    model = model_of(_air_used(settings))
    frame = ball_flight.add_model(shots.with_columns(categories.alias("category")), model)
    if _device_has_own_air(settings):
        air = _air(settings, settings.device_altitude_m, settings.device_temperature_c)
        frame = other_air.restated(frame, air, model)
    return ball_flight.add_used_to_all(frame)


def _device_has_own_air(settings: Settings) -> bool:
    device = settings.device_altitude_m, settings.device_temperature_c
    return device != (settings.altitude_m, settings.temperature_c)


def _home(
    facts: VisitFacts, settings: Settings, frame: pl.DataFrame, decided: Sequence[Fate], model: FlightModel
) -> HomeCourse | None:
    """Restate the visit to the customer's home course, if that was said."""
    if facts.home_altitude_m is None and facts.home_temperature_c is None:
        return None
    altitude = settings.altitude_m if facts.home_altitude_m is None else facts.home_altitude_m
    temperature = settings.temperature_c if facts.home_temperature_c is None else facts.home_temperature_c
    air = _air(settings, altitude, temperature)
    found = other_air.at_home(frame, decided, air, model)
    return HomeCourse(altitude, temperature, air.density_kgpm3 / model.air.density_kgpm3, found) if found else None


def read(file: ShotFile, hand: str | None, answers: Mapping[str, Given]) -> FileReading:
    """Read a shot file; staff's answers for its layout (fingerprint of headings → answers) are put to use."""
    reading = read_shot_file(file, Given(handed=hand))
    answered = answers.get(profiles.fingerprint(reading.header)) if reading.header else None
    return read_shot_file(file, profiles.with_hand(answered, hand)) if answered else reading


def read_all(files: Sequence[ShotFile], hands: Sequence[str | None], answers: Mapping[str, Given]) -> list[FileReading]:
    """Read the shot files of many visits at once, each as `read` would."""
    found = _read_alike(files, [Given(handed=hand) for hand in hands])
    answered = [answers.get(profiles.fingerprint(one.header)) if one.header else None for one in found]
    again = [place for place, given in enumerate(answered) if given]
    more = [profiles.with_hand(given, hands[place]) for place, given in enumerate(answered) if given]
    for place, reading in zip(again, _read_alike([files[place] for place in again], more), strict=True):
        found[place] = reading
    return found


def _read_alike(files: Sequence[ShotFile], given: Sequence[Given]) -> list[FileReading]:
    """Read files of which the same is known together."""
    found: dict[int, FileReading] = {}
    alike: dict[str, list[int]] = {}
    for place, known in enumerate(given):
        alike.setdefault(repr(known), []).append(place)
    for places in alike.values():
        readings = read_shot_files([files[place] for place in places], given[places[0]])
        found.update(zip(places, readings, strict=True))
    return [found[place] for place in range(len(files))]


def decide(
    files: Sequence[ShotFile], facts: VisitFacts, settings: Settings, today: dt.date, answers: Mapping[str, Given]
) -> Decided | Refusal:
    """Read a visit's files, fly its balls and decide which shots count."""
    return decide_read(tuple(read(file, facts.hand, answers) for file in files), facts, settings, today)


def decide_read(
    readings: tuple[FileReading, ...], facts: VisitFacts, settings: Settings, today: dt.date
) -> Decided | Refusal:
    """Fly the balls of a visit that was read and decide which shots count."""
    refused = refusal(readings)
    if refused:
        return refused
    of = decide_all([(readings, facts, today)], settings)
    frame = of.frame.drop("visit", "reading")
    return Decided(of.dates[0], facts, readings, of.sets[0], of.own_club_from[0], frame, of.fates, of.sources[0])


def decide_all(
    visits: Sequence[tuple[tuple[FileReading, ...], VisitFacts, dt.date]], settings: Settings
) -> DecidedTogether:
    """Fly the balls of visits that were read and are not refused, and decide which shots count, all at once."""
    shots, found = sets.assemble_all([(readings, facts) for readings, facts, _ in visits])
    kinds = pl.Series([one.build.category for of_visit, _ in found for one in of_visit], dtype=pl.String)
    before = pl.Series([0, *accumulate(len(of_visit) for of_visit, _ in found)])
    frame, sources = _with_flight(shots, kinds.gather(before.gather(shots["visit"]) + shots["set"]), settings)
    decided = found_fates(frame)
    first = 0
    for (_, facts, _), count in zip(visits, frame.group_by("visit").len().sort("visit")["len"], strict=True):
        if facts.overrules:
            part = slice(first, first + count)
            decided[part] = overruled(frame[part], decided[part], facts.overrules)
        first += count
    return DecidedTogether(
        tuple(_date(readings, facts, today) for readings, facts, today in visits),
        tuple(facts for _, facts, _ in visits),
        tuple(readings for readings, _, _ in visits),
        tuple(of_visit for of_visit, _ in found),
        tuple(said for _, said in found),
        frame,
        tuple(decided),
        tuple(sources),
    )


def fit(  # noqa: PLR0913 - what a report depends on, each named
    name: str,
    files: Sequence[ShotFile],
    facts: VisitFacts,
    settings: Settings,
    today: dt.date,
    identity: str,
    answers: Mapping[str, Given] | None = None,
    *,
    history: History | None = None,
) -> Fitting | Refusal:
    """Work out a visit: the same files, facts, settings, day, answers and history always give the same record."""
    found = decide(files, facts, settings, today, answers or {})
    if isinstance(found, Refusal):
        return found
    frame, decided, sources = found.frame, found.fates, found.sources
    air = _air_used(settings)
    model = model_of(air)
    of_sets = results.set_results(found.sets, frame, decided, sources, model)
    worth = judging.Worth(settings.smallest_difference_m, settings.fairway_width_m, settings.hole_m)
    compared, judged = judging.judge(of_sets, frame, decided, sources, worth, history)
    fitting = Fitting(
        visit_id=identity,
        name=name,
        date=found.date,
        facts=facts,
        files=found.files,
        own_club_from=found.own_club_from,
        air=air,
        sets=of_sets,
        shots=results.shot_results(frame, decided, sources),
        sources=sources,
        comparisons=compared,
        smallest_difference_m=settings.smallest_difference_m,
        device_check=device_checks(frame, decided),
        judged=judged,
        home=_home(facts, settings, frame, decided, model),
        cautions=(),
        decided=found,
        history=history,
    )
    return _with_levers(replace(fitting, cautions=cautions(fitting, frame)), frame, decided, model)


def _with_levers(fitting: Fitting, frame: pl.DataFrame, decided: Sequence[Fate], model: FlightModel) -> Fitting:
    """Add what each lever brought, and what is ahead with the own club and with the build the answer speaks of.

    Sets too uneven to average have no middle shot to read a delivery from.
    """
    even = [result for result in fitting.sets if not result.uneven]
    if not any(result.set.is_own for result in even):
        return fitting
    spoken_of = findings.answer(fitting).subject.set.index
    ahead = [result for result in even if result.set.is_own or result.set.index == spoken_of]
    asking = asking_levers([result.set for result in even], frame, decided)
    both = side_by_side(asking, asking_outlooks(ahead, frame, decided))
    brought, outlooks = finished(both, distances(model))
    return replace(fitting, levers=brought, outlooks=outlooks)
