"""`baywright whatif` on the invented example visits: what it asks, answers and refuses."""

import datetime as dt
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline import exports, fitting_file, session, strict_toml, studio, visit_facts
from pipeline.analysis.ball_flight import model_of
from pipeline.analysis.delivery import shots_of
from pipeline.analysis.distances import distances
from pipeline.analysis.whatif import OwnFlight, what_if
from pipeline.analysis.window import window_of
from pipeline.analysis.worth import worth_of
from pipeline.errors import FolderError, SettingsError, TooFewShotsError
from pipeline.records import Fitting, Refusal, ShotFile
from pipeline.room_records import Changes
from pipeline.settings import load

EXAMPLE = Path(__file__).parent.parent / "inbox_example"
FOLDER = EXAMPLE / "customer 0142"
SETTINGS = load("altitude_m = 300\nfirmness = 'firm'\ndrag_multiplier = 1.02")
NAME = "2026-11-25 customer 0142"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def fitting() -> Fitting:
    files = [ShotFile(path.name, path.read_bytes()) for path in sorted(FOLDER.glob("*.csv"))]
    text = strict_toml.decode((FOLDER / "visit.toml").read_bytes(), "visit.toml")
    made = session.fit(
        "customer 0142", files, visit_facts.read(text, "visit.toml"), SETTINGS, dt.date(2026, 11, 25), "x"
    )
    assert not isinstance(made, Refusal)
    return made


@pytest.fixture
def place(fitting: Fitting, tmp_path: Path) -> Path:
    """A studio with that visit's report in its outbox."""
    made = studio.create(tmp_path / "studio")
    studio.write_folder(made.outbox / NAME, {"fitting.json": exports.fitting_json(fitting).encode()})
    return made.root


def answer(run: Run, *words: object) -> dict[str, Any]:
    code, out, err = run("whatif", *words, "--json")
    assert code == 0, err
    return dict(json.loads(out))


# --- the same as the analysis -----------------------------------------------------------------------------------------
@pytest.mark.parametrize("letter", ["A", "B", "C"])
def test_the_file_gives_the_shots_the_analysis_had(fitting: Fitting, letter: str) -> None:
    """Read back, the levers' room of the report comes out again: nothing was lost on the way."""
    kept = fitting_file.read(exports.fitting_json(fitting).encode(), "fitting.json")
    outlook = next((o for o in fitting.outlooks if fitting.sets[o.set_index].set.letter == letter), None)
    chosen = next(s for s in kept.sets if s.letter == letter)
    result = next(r for r in fitting.sets if r.set.letter == letter)
    assert chosen.shots.height == result.n_counted
    assert chosen.averages["carry_m"] == result.averages["carry_m"].mean
    assert kept.air == fitting.air
    if outlook:
        model = model_of(kept.air)
        assert worth_of(shots_of(chosen.shots), distances(model), chosen.category) == outlook.worth
        own = OwnFlight(chosen.averages["apex_m"], chosen.averages["descent_angle_deg"])
        assert window_of(shots_of(chosen.shots), model, chosen.category, own) == outlook.window


def test_the_answer_is_that_of_the_model(fitting: Fitting, place: Path, run: Run) -> None:
    said = answer(run, place, NAME, "--build", "B", "--attack", "+2deg", "--loft", "-1deg")
    kept = fitting_file.read(exports.fitting_json(fitting).encode(), "fitting.json")
    chosen = kept.sets[1]
    own = OwnFlight(chosen.averages["apex_m"], chosen.averages["descent_angle_deg"])
    changes = Changes(attack_angle_deg=2.0, loft_deg=-1.0)
    found = what_if(shots_of(chosen.shots), model_of(fitting.air), "driver", changes, own)
    assert found is not None
    values = said["values"]
    assert [v["difference"] for v in values] == [value.difference for value in found.values]
    assert (said["set"], said["shots"], said["tier"]) == ("B", chosen.shots.height, "full")


@pytest.mark.parametrize(
    ("words", "field", "stored"),
    [
        (("--club-speed", "+3mph"), "club_speed_mps", 3 * 0.44704),
        (("--club-speed", "-2km/h"), "club_speed_mps", -2 / 3.6),
        (("--strike", "+0.02"), "smash_factor", 0.02),
        (("--strike", "-0.02"), "smash_factor", -0.02),
        (("--attack", "+2deg"), "attack_angle_deg", 2.0),
        (("--attack", "-1.5"), "attack_angle_deg", -1.5),
        (("--loft", "-1deg"), "loft_deg", -1.0),
        (("--spin", "-200rpm"), "spin_rate_rpm", -200.0),
    ],
)
def test_each_step_is_read_with_its_unit(
    place: Path, run: Run, words: tuple[str, ...], field: str, stored: float
) -> None:
    changes = answer(run, place, "0142", *words)["changes"]
    assert changes.pop(field) == pytest.approx(stored)
    assert changes.pop("follow") == 1.0
    assert not any(changes.values())


def test_the_face_may_be_held(place: Path, run: Run) -> None:
    free, held = (answer(run, place, "0142", "--attack", "+2", *more) for more in ((), ("--hold-loft",)))
    launch = [
        next(v["difference"] for v in said["values"] if v["quantity"] == "launch_angle_deg") for said in (free, held)
    ]
    assert launch[0] > launch[1] + 0.5


# --- which set --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("named", "letter"), [("b", "B"), ("Driver 2", "B"), ("driver 3", "C"), ("own", "A"), (None, "C")]
)
def test_a_set_is_named_by_letter_name_or_part(place: Path, run: Run, named: str | None, letter: str) -> None:
    words = () if named is None else ("--build", named)
    assert answer(run, place, "0142", *words, "--loft", "1")["set"] == letter


@pytest.mark.parametrize("named", ["driver", "D", "", "Driver 4"])
def test_any_other_name_lists_the_sets(place: Path, run: Run, named: str) -> None:
    code, _, err = run("whatif", place, "0142", "--build", named, "--loft", "1")
    assert code == SettingsError.exit_code
    assert all(text in err for text in ("A  Own driver", "B  Driver 2", "C  Driver 3"))


# --- what is printed --------------------------------------------------------------------------------------------------
def test_every_row_adds_up_as_it_is_shown(place: Path, run: Run) -> None:
    for step in ("0.3deg", "0.7deg", "1.1deg", "1.9deg", "-2.3deg"):
        code, out, _ = run("whatif", place, "0142", "--attack", step)
        assert code == 0
        rows = re.findall(
            r"^\S.*?  +(−?[\d.]+) +(−?[\d.]+) +([+−]?[\d.]+)°?(?: \S+)?  (?:modelled|measured)$", out, re.MULTILINE
        )
        assert len(rows) == 7
        for row in rows:
            before, after, change = (float(text.replace("−", "-")) for text in row)
            assert after - before == pytest.approx(change, abs=1e-9)


def test_the_words_say_what_changed_on_which_shots_and_what_to_mind(place: Path, run: Run) -> None:
    code, out, _ = run("whatif", place, "0142", "--build", "B", "--attack", "+2deg", "--loft", "-1deg", "--hold-loft")
    assert code == 0
    flat = re.sub(r"\s+", " ", out)
    assert out.startswith("B Driver 2, counted shots: 9; attack +2.0°, loft −1.0°, with the loft at impact held\n")
    assert "not a promise" in flat
    assert "work for trained hands" in flat
    assert "train for speed" not in flat
    assert "far from what was hit" not in flat
    assert max(map(len, out.splitlines())) <= 100


def test_more_speed_comes_with_the_cautions_of_training(place: Path, run: Run) -> None:
    _, out, _ = run("whatif", place, "0142", "--club-speed", "+2mph")
    assert "physician" in out
    assert "Stop at any pain" in out


def test_steps_that_stretch_the_model_say_so(place: Path, run: Run) -> None:
    _, out, _ = run("whatif", place, "0142", "--strike", "+0.1")
    assert "take the direction, not the size" in out
    assert "More than 1.52 times the club speed" in out


def test_units_are_the_studios(place: Path, run: Run) -> None:
    (place / "studio.toml").write_text('units_shown = "metres"\n', encoding="utf-8")
    _, out, _ = run("whatif", place, "0142", "--club-speed", "+2mph")
    assert "km/h" in out
    assert "yd" not in out


# --- what is refused --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("words", "part"),
    [
        ((), "say what should change"),
        (("--strike", "0"), "say what should change"),
        (("--loft", "90deg"), "Take a smaller step"),
        (("--attack", "steep"), "--attack: 'steep'"),
        (("--club-speed", "3"), "--club-speed: '3' needs a unit"),
        (("--loft", "1deg", "--hold-loft"), "--hold-loft goes with --attack"),
    ],
)
def test_steps_that_are_not_understood_are_refused(place: Path, run: Run, words: tuple[str, ...], part: str) -> None:
    code, _, err = run("whatif", place, "0142", *words)
    assert code == SettingsError.exit_code
    assert part in err


def without(fitting: Fitting, *names: str) -> bytes:
    """The visit's file as if the device had not read these."""
    document = json.loads(exports.fitting_json(fitting))
    for shot in document["shots"]:
        for name in names:
            shot["measured"].pop(name, None)
    return json.dumps(document).encode()


@pytest.mark.parametrize(
    ("missing", "words", "part"),
    [
        (("attack_angle_deg",), ("--loft", "1"), "no attack angle, and without it nobody can say what --loft does"),
        (("spin_rate_rpm",), ("--spin", "100rpm", "--loft", "1"), "no spin, and without it nobody can say what --spin"),
        (("club_speed_mps",), ("--strike", "0.01", "--attack", "1"), "no club speed, and without it nobody can say"),
        (("ball_speed_mps",), ("--loft", "1"), "three counted shots with ball speed and launch angle are needed"),
    ],
)
def test_what_the_columns_do_not_tell_is_not_answered(
    fitting: Fitting, place: Path, run: Run, missing: tuple[str, ...], words: tuple[str, ...], part: str
) -> None:
    (place / "outbox" / NAME / "fitting.json").write_bytes(without(fitting, *missing))
    code, out, err = run("whatif", place, "0142", *words)
    assert code == TooFewShotsError.exit_code
    assert not out
    assert part in err


def test_a_spin_nobody_read_is_told_as_guessed(fitting: Fitting, place: Path, run: Run) -> None:
    (place / "outbox" / NAME / "fitting.json").write_bytes(without(fitting, "spin_rate_rpm"))
    code, out, _ = run("whatif", place, "0142", "--loft", "1")
    assert code == 0
    assert "partly guessed" in out
    assert re.search(r"^Spin +– +– ", out, re.MULTILINE)


@pytest.mark.parametrize(
    "content",
    [b"", b"[]", b"{}", b'{"schema": 1}', b"\xff\xfe", b'{"schema": 1, "air": {"altitude_m": 0}}', b"[" * 20_000],
)
def test_a_damaged_file_is_named(place: Path, run: Run, content: bytes) -> None:
    (place / "outbox" / NAME / "fitting.json").write_bytes(content)
    code, _, err = run("whatif", place, "0142", "--loft", "1")
    assert code == FolderError.exit_code
    assert "fitting.json: it is damaged" in err


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("air", "firmness"), "concrete"),
        (("sets", 0, "averages"), None),
        (("shots", 0, "measured", "ball_speed_mps"), "fast"),
        (("shots", 0, "used"), []),
        (("sets", 2, "build"), "driver"),
    ],
)
def test_a_file_spoilt_inside_is_damaged_too(fitting: Fitting, path: tuple[str | int, ...], value: object) -> None:
    document = json.loads(exports.fitting_json(fitting))
    place = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    with pytest.raises(FolderError, match="damaged"):
        fitting_file.read(json.dumps(document).encode(), "fitting.json")


def test_another_schema_asks_for_a_new_report(fitting: Fitting) -> None:
    document = json.loads(exports.fitting_json(fitting)) | {"schema": exports.SCHEMA_VERSION + 1}
    with pytest.raises(FolderError, match="another version of baywright"):
        fitting_file.read(json.dumps(document).encode(), "fitting.json")


def test_no_report_of_that_name_lists_what_there_is(place: Path, run: Run) -> None:
    code, _, err = run("whatif", place, "0999", "--loft", "1")
    assert code == FolderError.exit_code
    assert NAME in err
