"""Each command on real files: what it prints, what it leaves behind, and its exit code."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.errors import (
    FolderError,
    MappingError,
    MissingPartError,
    SettingsError,
    TooFewShotsError,
    UnreadableFileError,
)

Run = Callable[..., tuple[int, str, str]]
ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = ROOT / "inbox_example"
HEAD = "Club,Club speed (mph),Ball speed (mph),Launch angle (deg),Spin rate (rpm)\n"
SHOTS = HEAD + "".join(f"Own driver,{94 + i % 3},{135 + i % 4},{10 + i % 2},{2900 + 10 * i}\n" for i in range(8))
NO_UNIT = SHOTS.replace(" (mph)", "")
NO_SHOT = HEAD + "Own driver,-,-,-,-\n"
FLY = ("fly", "--ball-speed", "160mph", "--launch-angle", "11deg", "--spin-rate", "2600rpm")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give an empty folder to stand in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def studio(folder: Path, run: Run) -> Path:
    assert run("init", folder / "studio")[0] == 0
    return folder / "studio"


def written(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def reports(studio: Path) -> list[str]:
    return sorted(p.name for p in (studio / "outbox").iterdir())


# --- init, demo -------------------------------------------------------------------------------------------------------
def test_init_says_what_to_do_next(folder: Path, run: Run) -> None:
    code, out, err = run("init", "my studio")
    assert (code, err) == (0, "")
    assert f"Studio folder: {folder / 'my studio'}" in out
    assert 'Next: baywright watch "my studio"' in out
    assert {p.name for p in (folder / "my studio").iterdir()} == {"inbox", "outbox", "set-back", "studio.toml", "work"}


def test_init_where_a_file_is(folder: Path, run: Run) -> None:
    written(folder, "file", "")
    code, _, err = run("init", "file")
    assert code == FolderError.exit_code
    assert err.startswith("baywright: file: cannot make the studio folder there (")


def test_demo_makes_three_reports_and_says_where(folder: Path, run: Run) -> None:
    code, out, err = run("demo")
    assert (code, err) == (0, "")
    named = [Path(line.strip()) for line in out.partition("Open them:\n")[2].splitlines() if "report.pdf" in line]
    assert len(named) == 3
    for path in named:
        assert path.is_relative_to(folder / "baywright-demo" / "outbox")
        assert path.read_bytes().startswith(b"%PDF-1.")
        assert {p.name for p in path.parent.iterdir()} == {"report.pdf", "letter.eml", "shots.csv", "fitting.json"}
    assert not list((folder / "baywright-demo" / "set-back").iterdir())
    (folder / "baywright-demo-2").mkdir()
    from pipeline.commands import demo  # noqa: PLC0415

    assert demo._new_folder(None) == Path("baywright-demo-3")


@pytest.mark.parametrize("name", ["taken", "taken/file"])
def test_demo_never_writes_into_what_is_there(folder: Path, run: Run, name: str) -> None:
    written(folder, "taken/file", "ours")
    code, out, err = run("demo", name)
    assert (code, out) == (FolderError.exit_code, "")
    assert err == f"baywright: {name} is there already and is no empty folder. Name a new folder.\n"


# --- process ----------------------------------------------------------------------------------------------------------
def test_process_works_off_the_drop_folder_once(studio: Path, run: Run) -> None:
    written(studio, "inbox/customer 7.csv", SHOTS)
    code, out, err = run("process", studio)
    assert (code, err) == (0, "")
    assert out.startswith("report   customer 7: 8 balls, 8 counted, 1 set\n")
    assert len(reports(studio)) == 1
    assert run("process", studio) == (0, "nothing new\n", "")
    log = (studio / "work" / "log.txt").read_text(encoding="utf-8")
    assert "has its report." in log
    assert "customer 7" not in log


@pytest.mark.parametrize(
    ("content", "code", "kind", "said"),
    [
        (NO_UNIT, MappingError.exit_code, "held", "No unit is stated for 'Club speed'"),
        (NO_SHOT, TooFewShotsError.exit_code, "set back", "No line of it could be used as a shot."),
        (b"%PDF-1.7 \x00\x01", UnreadableFileError.exit_code, "set back", "This is no table of shots"),
        (b"", UnreadableFileError.exit_code, "set back", "The file is empty."),
    ],
)
def test_process_gives_the_code_of_the_first_visit_without_a_report_and_goes_on(
    studio: Path, run: Run, content: str | bytes, code: int, kind: str, said: str
) -> None:
    written(studio, "inbox/a.csv", content)
    written(studio, "inbox/b.csv", SHOTS)
    found, out, err = run("process", studio)
    assert (found, err) == (code, "")
    assert out.startswith(f"{kind:9}a: {said}")
    assert "report   b: " in out
    assert {p.name for p in (studio / "set-back").iterdir()} == {"a.csv", "a.csv.txt"}
    assert len(reports(studio)) == 1


def test_process_takes_files_and_folders_from_anywhere(studio: Path, folder: Path, run: Run) -> None:
    written(folder, "elsewhere/a.dat", SHOTS)
    written(folder, "visit 9/b.csv", SHOTS.replace("Own", "New"))
    written(folder, "visit 9/visit.toml", "customer = 'Customer 9'\ndate = 2026-11-20")
    written(studio, "inbox/left.csv", SHOTS.replace("Own", "Other"))
    code, out, _ = run("process", studio, "elsewhere/a.dat", "visit 9")
    assert code == 0
    assert [name.partition(" ")[2] for name in reports(studio)] == ["visit 9", "a"]
    again, out, _ = run("process", studio, "elsewhere/a.dat")
    assert again == 0
    assert out.startswith("known    a: the same content was dropped before; its report is in outbox/")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nowhere.csv", "nowhere.csv: there is no such file or folder."),
        ("empty", "empty: there is no shot file in this folder."),
        ("pipe", "pipe: this is neither a file nor a folder."),
        ("dangling", "dangling: there is no such file or folder."),
    ],
)
def test_process_says_what_is_wrong_with_a_named_file(
    studio: Path, folder: Path, run: Run, name: str, said: str
) -> None:
    (folder / "empty").mkdir()
    os.mkfifo(folder / "pipe")
    (folder / "dangling").symlink_to("nowhere")
    assert run("process", studio, name) == (FolderError.exit_code, "", f"baywright: {said}\n")


def test_process_in_a_folder_follows_a_link_a_person_named_and_takes_a_dot(
    studio: Path, folder: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(folder, "visit 9/b.csv", SHOTS)
    (folder / "link").symlink_to("visit 9")
    monkeypatch.chdir(folder / "visit 9")
    assert run("process", studio, ".")[0] == 0
    assert [name.partition(" ")[2] for name in reports(studio)] == ["visit 9"]
    assert run("process", studio, "../link")[1].startswith("known    visit 9: ")


def test_what_is_no_studio_is_said_with_the_command_that_makes_one(folder: Path, run: Run) -> None:
    for words in (("process", "x y"), ("watch", "x y")):
        code, out, err = run(*words)
        assert (code, out) == (FolderError.exit_code, "")
        assert err == (
            'baywright: x y is no studio folder: inbox and outbox missing. Make one with: baywright init "x y"\n'
        )
    assert list(folder.iterdir()) == []


def test_a_setting_not_understood_stops_before_anything_is_done(studio: Path, run: Run) -> None:
    written(studio, "studio.toml", 'name = "A"\nunits_show = "yards"\n')
    written(studio, "inbox/a.csv", SHOTS)
    for command in ("process", "watch"):
        code, out, err = run(command, studio)
        assert (code, out) == (SettingsError.exit_code, "")
        assert f"{studio}/studio.toml, line 2: unknown key 'units_show'. Did you mean 'units_shown'?" in err
    assert reports(studio) == []


@pytest.mark.parametrize("command", ["process", "watch"])
@pytest.mark.parametrize(
    ("inside", "why"),
    [("<script/>", "it holds a script"), ('<g opacity="x"><rect width="4" height="4"/></g>', "it cannot be drawn")],
)
def test_a_logo_that_cannot_be_used_stops_before_anything_is_done(
    studio: Path, run: Run, command: str, inside: str, why: str
) -> None:
    written(studio, "studio.toml", 'logo = "ours.svg"')
    written(studio, "ours.svg", f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 1">{inside}</svg>')
    written(studio, "inbox/a.csv", SHOTS)
    code, out, err = run(command, studio)
    assert (code, out) == (SettingsError.exit_code, "")
    assert err.startswith(f"baywright: {studio / 'ours.svg'}: not used as logo: {why}. ")
    assert 'or set logo = "" in studio.toml.' in err
    assert reports(studio) == []


def test_a_studio_in_use_is_left_alone(studio: Path, run: Run) -> None:
    from pipeline.studio import Studio, lock  # noqa: PLC0415

    held = lock(Studio(studio))
    for command in ("process", "watch"):
        code, out, err = run(command, studio)
        assert (code, out) == (FolderError.exit_code, "")
        assert "another baywright is at work on this folder. Stop it first, or let it do the work." in err
    held.release()


# --- check ------------------------------------------------------------------------------------------------------------
def test_check_shows_what_each_column_became(folder: Path, run: Run) -> None:
    path = written(folder, "a.csv", SHOTS + "average,95,136,10.5,2935\nOwn driver,95,oops,10,2900\n")
    code, out, err = run("check", path)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "a.csv: read"
    assert lines[1] == "  utf-8, columns parted by comma, decimal none seen, heading on line 1"
    assert any(line.split() == ["Ball", "speed", "(mph)", "ball_speed_mps", "mph", "heading"] for line in lines)
    assert "  8 shots can be used" in lines
    assert "  line 10: no shot: summary row" in lines
    assert any(line.startswith("  line 11: not used: ") and "'Ball speed (mph)'" in line for line in lines)
    assert list(folder.iterdir()) == [path]


@pytest.mark.parametrize(
    ("content", "code", "said"),
    [
        (NO_UNIT, MappingError.exit_code, "a.csv: held: a question must be answered first"),
        (NO_SHOT, TooFewShotsError.exit_code, "0 shots can be used"),
        (b"", UnreadableFileError.exit_code, "a.csv: waits: looks half-written"),
        (b"\x89PNG\r\n\x1a\n", UnreadableFileError.exit_code, "a.csv: cannot be used"),
    ],
)
def test_check_gives_the_code_of_what_is_wrong(
    folder: Path, run: Run, content: str | bytes, code: int, said: str
) -> None:
    path = written(folder, "a.csv", content)
    found, out, err = run("check", path)
    assert (found, err) == (code, "")
    assert said in out
    found, out, _ = run("check", path, "--json")
    assert found == code
    assert json.loads(out)["outcome"] in ("ok", "needs_mapping", "retry", "quarantine")


def test_check_with_what_is_known_beforehand(folder: Path, run: Run) -> None:
    path = written(folder, "a.csv", NO_UNIT)
    known = written(folder, "known.json", '{"handed": "right", "units": {"speed": "mph"}}')
    code, out, _ = run("check", path, "--given", known, "--json")
    assert code == 0
    made = json.loads(out)
    assert made["outcome"] == "ok"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not readable as JSON: Expecting property name"),
        ("[]", "a JSON object is wanted, with handed, units and columns"),
        ('{"units": "mph"}', "a JSON object is wanted, with handed, units and columns"),
        ('{"hand": "left"}', "unknown key 'hand'. Did you mean 'handed'?"),
        ('{"handed": "both"}', 'handed must be "right" or "left".'),
        ('{"units": {"speeed": "mph"}}', "unknown key 'speeed'. Did you mean 'speed'?"),
        ('{"units": {"speed": "yd"}}', "'yd' is no unit of speed. Known: m/s, km/h, mph, ft/s, kn."),
        ('{"units": {"speed": 5}}', "5 is no unit of speed."),
        ('{"columns": {"A": "ball_speed"}}', "unknown key 'ball_speed'. Did you mean 'ball_speed_mps'?"),
        (b"\xff\xfe", "not readable as JSON"),
    ],
)
def test_check_refuses_what_it_would_else_pass_over_in_silence(
    folder: Path, run: Run, text: str | bytes, said: str
) -> None:
    path, known = written(folder, "a.csv", NO_UNIT), written(folder, "known.json", text)
    code, out, err = run("check", path, "--given", known)
    assert (code, out) == (SettingsError.exit_code, "")
    assert err.startswith("baywright: ")
    assert f"known.json: {said}" in err


def test_a_file_that_cannot_be_opened(folder: Path, run: Run) -> None:
    path = written(folder, "a.csv", SHOTS)
    for words in (("check", "no.csv"), ("fly", "--csv", "no.csv"), ("check", path, "--given", "no.csv")):
        assert run(*words) == (
            FolderError.exit_code, "", "baywright: no.csv: cannot be read: No such file or directory.\n"
        )  # fmt: skip
    assert run("check", folder) == (
        FolderError.exit_code,
        "",
        f"baywright: {folder}: cannot be read: Is a directory.\n",
    )


def test_a_name_cannot_play_with_the_console(folder: Path, run: Run) -> None:
    path = written(folder, "a\x1b[2J.csv", SHOTS)
    assert "\x1b" not in run("check", path)[1]


# --- fly --------------------------------------------------------------------------------------------------------------
def test_fly_in_words_and_as_json(run: Run) -> None:
    code, out, err = run(*FLY)
    assert (code, err) == (0, "")
    assert out.splitlines()[1].startswith("shot 1: carry ")
    code, out, _ = run(*FLY, "--json")
    [shot] = json.loads(out)
    assert 200 < shot["carry_m"] < 260
    assert shot["carry_m"] < shot["total_m"]
    assert shot["offline_m"] == pytest.approx(0, abs=0.01)
    assert f"carry {shot['carry_m']:.1f} m ({shot['carry_m'] / 0.9144:.1f} yd)" in run(*FLY)[1]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("--ball-speed", "160mph"), ("--ball-speed", "71.5264m/s")),
        (("--ball-speed", "160 mph"), ("--ball-speed", "257.495 km/h")),
        (("--launch-angle", "11"), ("--launch-angle", "0.191986rad")),
        (("--spin-rate", "2600"), ("--spin-rate", "43.33333rps")),
        (("--altitude", "1000ft"), ("--altitude", "304.8m")),
        (("--temperature", "68F"), ("--temperature", "293.15K")),
        (("--wind", "10mph"), ("--wind", "4.4704 m/s")),
        (("--pressure", "1000hPa"), ("--pressure", "100kPa")),
    ],
)
def test_any_unit_will_do(run: Run, one: tuple[str, str], other: tuple[str, str]) -> None:
    [a], [b] = (json.loads(run(*FLY, *words, "--json")[1]) for words in (one, other))
    assert a["carry_m"] == pytest.approx(b["carry_m"], abs=0.01)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("fly",), "--ball-speed is missing: give ball speed, launch angle and spin rate, or a file with --csv."),
        (
            (*FLY, "--ball-speed", "160"),
            "--ball-speed: '160' needs a unit: write the number with one of: m/s, km/h, mph",
        ),
        ((*FLY, "--ball-speed", "160 yd"), "--ball-speed: '160 yd' needs a unit: write the number with one of: m/s"),
        ((*FLY, "--ball-speed", "71,5m/s"), "'71,5m/s' is no number with a unit. Write a number, decimals with a dot"),
        ((*FLY, "--ball-speed", "fast"), "'fast' is no number with a unit."),
        ((*FLY, "--ball-speed", "1e999mph"), "'1e999mph' is no number with a unit."),
        ((*FLY, "--ball-speed", "nan mph"), "'nan mph' is no number with a unit."),
        ((*FLY, "--pressure", "1013"), "--pressure: '1013' needs a unit: write the number with one of: Pa, hPa"),
        ((*FLY, "--humidity", "500"), "this air cannot be: a relative humidity"),
        ((*FLY, "--humidity", "nan"), "this air cannot be: a relative humidity"),
    ],
)
def test_fly_says_what_is_wrong_with_a_quantity(run: Run, words: tuple[str, ...], said: str) -> None:
    code, out, err = run(*words)
    assert (code, out) == (SettingsError.exit_code, "")
    assert said in err


def test_fly_a_shot_file(folder: Path, run: Run) -> None:
    code, out, _ = run("fly", "--csv", written(folder, "a.csv", SHOTS), "--json")
    assert code == 0
    assert len(json.loads(out)) == 8
    code, _, err = run("fly", "--csv", written(folder, "b.csv", NO_UNIT))
    assert code == MappingError.exit_code
    assert "b.csv: No unit is stated for" in err
    code, _, err = run("fly", "--csv", written(folder, "c.csv", b"\x89PNG\r\n\x1a\n"))
    assert code == UnreadableFileError.exit_code


# --- doctor, and a machine that lacks something -----------------------------------------------------------------------
def test_doctor_on_a_machine_with_everything(studio: Path, run: Run) -> None:
    code, out, err = run("doctor", studio)
    assert (code, err) == (0, "")
    assert [line.split()[:2] for line in out.splitlines()[:-1]] == [
        ["ok", "Python"], ["ok", "packages"], ["ok", "PDF"], ["ok", "studio"], ["ok", "watching"],
    ]  # fmt: skip
    assert out.endswith("Everything needed is there.\n")
    assert not (studio / "work" / "doctor").exists()


def test_doctor_on_what_is_no_studio(folder: Path, run: Run) -> None:
    code, out, _ = run("doctor", folder / "x")
    assert code == FolderError.exit_code
    assert "missing  studio    " in out
    assert "watching" not in out
    assert out.endswith("Mend what is marked 'missing', then run this again.\n")


@pytest.fixture
def without_pango(tmp_path: Path) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run a command on a machine where the PDF renderer cannot load its system library."""
    fake = tmp_path / "fake" / "weasyprint"
    fake.mkdir(parents=True)
    fault = "cannot load library 'libpango-1.0-0': cannot open shared object file"
    (fake / "__init__.py").write_text(f'raise OSError("{fault}")\n', encoding="utf-8")

    def command(*words: object) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "PYTHONPATH": f"{tmp_path / 'fake'}{os.pathsep}{ROOT}"}
        return subprocess.run(
            [sys.executable, "-m", "pipeline", *(str(word) for word in words)],
            capture_output=True, encoding="utf-8", env=environment, check=False, timeout=60, cwd=tmp_path,
        )  # fmt: skip

    return command


@pytest.mark.parametrize("command", ["watch", "process", "doctor", "demo"])
def test_a_missing_system_library_is_said_with_what_to_install_and_blames_no_file(
    studio: Path, run: Run, without_pango: Callable[..., subprocess.CompletedProcess[str]], command: str
) -> None:
    if command == "process":  # a watcher says it before there is any file
        written(studio, "inbox/a.csv", SHOTS)
    made = without_pango(command, *([studio] if command != "demo" else []))
    said = made.stderr + made.stdout
    assert made.returncode == MissingPartError.exit_code
    assert "The PDF needs the system library Pango." in said
    assert "sudo apt-get install libpango-1.0-0" in said
    assert "brew install pango" in said
    assert "The machine said: cannot load library 'libpango-1.0-0'" in said
    assert "Traceback" not in said
    assert list((studio / "set-back").iterdir()) == []
    if command == "process":
        shutil.rmtree(studio.parent / "fake")
        assert run("process", studio)[0] == 0
        assert len(reports(studio)) == 1


def test_doctor_names_a_missing_package(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "polars", None)
    code, out, _ = run("doctor")
    assert code == MissingPartError.exit_code
    assert "missing  packages  the package polars is missing" in out
    assert "pip install --force-reinstall baywright" in out


def test_check_json_repeats_what_was_given(run: Run, tmp_path: Path) -> None:
    shots, given = tmp_path / "a.csv", tmp_path / "given.json"
    shots.write_text("Club,Carry\nDriver,200\n", encoding="utf-8")
    given.write_text('{"handed": "left", "units": {"length": "yd"}}', encoding="utf-8")
    code, out, _ = run("check", shots, "--given", given, "--json")
    said = json.loads(out)
    assert code == 0
    assert said["given"] == {"handed": "left", "units": {"length": "yd"}}
    assert said["columns"]["Carry"] == {"field": "carry_m", "unit": "yd", "unit_from": "profile"}
