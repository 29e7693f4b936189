"""The command line: light to start, helpful when asked, and one exit code a kind of fault."""

import inspect
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline import __version__, cli, errors
from pipeline.errors import INTERNAL_EXIT_CODE, USAGE_EXIT_CODE, PipelineError
from tests.processes import killed_at_the_end

Run = Callable[..., tuple[int, str, str]]
ROOT = Path(__file__).resolve().parent.parent
CLASSES = [c for _, c in inspect.getmembers(errors, inspect.isclass) if issubclass(c, PipelineError)]
HEAVY = ("polars", "pandera", "numpy", "scipy", "weasyprint", "sqlalchemy", "watchdog", "jinja2", "filelock")
FLY = ("fly", "--ball-speed", "160mph", "--launch-angle", "11deg", "--spin-rate", "2600rpm")


def python(*words: str, **more: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **more}
    return subprocess.run(
        [sys.executable, *words], capture_output=True, encoding="utf-8", env=environment, check=False, timeout=60
    )


# --- starting and asking for help -------------------------------------------------------------------------------------
@pytest.mark.parametrize("words", [("--version",), ("--help",), (), *((name, "--help") for name in cli.COMMANDS)])
def test_asking_for_help_or_version_loads_no_library(words: tuple[str, ...]) -> None:
    script = (
        "import sys\nfrom pipeline.cli import main\ntry:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print('loaded:', *sorted(name for name in sys.modules if '.' not in name))"
    )
    loaded = python("-c", script, *words).stdout.rpartition("loaded: ")[2].split()
    assert "argparse" in loaded
    assert [name for name in HEAVY if name in loaded] == []


def test_version(run: Run) -> None:
    assert run("--version") == (0, f"baywright {__version__}\n", "")


def test_the_module_runs_as_a_program() -> None:
    made = python("-m", "pipeline", "--version")
    assert (made.returncode, made.stdout) == (0, f"baywright {__version__}\n")


def test_help_lists_every_command_and_every_exit_code(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    for name, text in cli.COMMANDS.items():
        assert f"{name} " in out
        assert text in out
    codes = {kind.exit_code for kind in CLASSES if kind is not PipelineError}
    listed = {int(number) for number in re.findall(r"(?:^| )(\d+) [a-z]", cli.EXIT_CODES, re.MULTILINE)}
    assert listed == codes | {0, USAGE_EXIT_CODE, INTERNAL_EXIT_CODE}
    assert "example:\n  baywright demo" in out


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_has_help_with_an_example(run: Run, name: str) -> None:
    code, out, err = run(name, "--help")
    assert (code, err) == (0, "")
    assert f"example:\n  baywright {name}" in out
    assert cli.COMMANDS[name].capitalize()[:20] in out


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_the_example_of_a_command_is_understood(name: str, run: Run) -> None:
    _, out, _ = run(name, "--help")
    example = out.partition("example:\n  baywright ")[2].splitlines()[0].partition("      (")[0]
    assert cli._parser(name).parse_args(cli._joined(shlex.split(example))).command == name


# --- exit codes -------------------------------------------------------------------------------------------------------
def test_each_class_of_fault_has_its_own_exit_code() -> None:
    codes = [kind.exit_code for kind in CLASSES]
    assert len(CLASSES) == 10
    assert len(set(codes) | {0, USAGE_EXIT_CODE, INTERNAL_EXIT_CODE}) == len(codes) + 3


@pytest.mark.parametrize("kind", CLASSES)
def test_a_fault_gives_its_code_and_one_plain_line(
    run: Run, monkeypatch: pytest.MonkeyPatch, kind: type[PipelineError]
) -> None:
    def fail(_given: object) -> int:
        msg = "What, where and what to do."
        raise kind(msg)

    monkeypatch.setattr("pipeline.commands.doctor.run", fail)
    assert run("doctor") == (kind.exit_code, "", "baywright: What, where and what to do.\n")


def test_any_other_fault_is_ours_with_a_traceback_to_pass_on(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_given: object) -> int:
        return 1 // 0

    monkeypatch.setattr("pipeline.commands.doctor.run", fail)
    code, out, err = run("doctor")
    assert (code, out) == (INTERNAL_EXIT_CODE, "")
    assert "ZeroDivisionError" in err
    assert err.endswith("baywright: a fault of ours, not of your files. Please pass on the lines above.\n")


def test_ctrl_c_in_a_short_command_is_no_fault(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(_given: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("pipeline.commands.doctor.run", interrupted)
    assert run("doctor") == (130, "", "")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "baywright: the following arguments are required: command. See baywright --help"),
        (("wach",), "invalid choice: 'wach' (choose from"),
        (("watch",), "baywright watch: the following arguments are required: DIR. See baywright watch --help"),
        (("init", "a", "b"), "baywright: unrecognized arguments: b. See baywright --help"),
        (("check", "a.csv", "--jsn"), "unrecognized arguments: --jsn"),
        (("fly", "--firmness", "hard"), "argument --firmness: invalid choice: 'hard' (choose from"),
        (("fly", "--humidity", "much"), "argument --humidity: invalid float value: 'much'"),
        (("fly", "--wind"), "argument --wind: expected one argument"),
        (("--loud",), "the following arguments are required: command"),
    ],
)
def test_a_command_line_not_understood_is_64(run: Run, words: tuple[str, ...], said: str) -> None:
    code, out, err = run(*words)
    assert (code, out) == (USAGE_EXIT_CODE, "")
    assert err.startswith("usage: baywright")
    assert said in err


@pytest.mark.parametrize("angle", ["-2deg", "-2", "-.5deg", "-2.5 deg"])
def test_a_negative_quantity_is_no_option(run: Run, angle: str) -> None:
    code, out, err = run(*FLY, "--launch-direction", angle, "--wind", "-3m/s")
    assert (code, err) == (0, "")
    if angle.startswith("-2"):
        assert re.search(r"offline -\d", out)


# --- odd surroundings -------------------------------------------------------------------------------------------------
def test_a_console_without_our_characters_stops_nothing() -> None:
    made = python("-m", "pipeline", *FLY, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert made.returncode == 0
    assert "kg/m?" in made.stdout
    assert made.stderr == ""


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_reader_gone_before_the_first_word_is_no_fault(unbuffered: str) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    made = subprocess.run(
        [sys.executable, "-m", "pipeline", *FLY], stdout=writing, stderr=subprocess.PIPE, check=False, timeout=60,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": unbuffered},
    )  # fmt: skip
    os.close(writing)
    assert (made.returncode, made.stderr) == (0, b"")


def test_a_reader_that_goes_away_is_no_fault(tmp_path: Path) -> None:
    rows = "\n".join(f"Own driver,{60 + i % 9},11,2600" for i in range(3_000))
    (tmp_path / "many.csv").write_text(
        f"Club,Ball speed (m/s),Launch angle (deg),Spin rate (rpm)\n{rows}\n", encoding="utf-8"
    )
    started = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "check", str(tmp_path / "many.csv"), "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    with killed_at_the_end(started) as command:
        assert command.stdout is not None
        assert command.stderr is not None
        command.stdout.read(1)
        command.stdout.close()
        assert command.stderr.read() == b""
        assert command.wait(timeout=60) == 0
