"""README's examples for starting with the PC: they name commands that exist, and systemd accepts its own."""

import configparser
import plistlib
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline import cli, errors
from pipeline.watcher import LONGEST_BETWEEN_RECORDS_S
from pipeline.workshop import Limits

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PART = README[README.index("## Start with the PC") :].split("\n## ")[0]
UNITS = re.findall(r"```ini\n(.*?)```", PART, re.DOTALL)
USER, SYSTEM = UNITS


def unit(text: str) -> configparser.ConfigParser:
    made = configparser.ConfigParser(interpolation=None, strict=True)
    made.optionxform = str  # type: ignore[assignment,method-assign]
    made.read_string(text)
    return made


def understood(words: list[str]) -> bool:
    """Tell whether our command line takes these words after the program's path."""
    assert Path(words[0]).name == "baywright"
    return bool(cli._parser(words[1]).parse_args(words[1:]).command == words[1])


@pytest.mark.parametrize("text", UNITS)
def test_a_unit_runs_a_command_that_exists_and_ends_it_gently(text: str) -> None:
    service = unit(text)["Service"]
    assert understood(shlex.split(service["ExecStart"]))
    assert (service["Restart"], service["KillMode"]) == ("on-failure", "mixed")
    assert float(service["TimeoutStopSec"]) > 2 * Limits().seconds + LONGEST_BETWEEN_RECORDS_S
    assert "KillSignal" not in service
    codes = {int(word) for word in service["RestartPreventExitStatus"].split()}
    assert codes == {errors.SettingsError.exit_code, errors.MissingPartError.exit_code, errors.USAGE_EXIT_CODE}
    assert service["StandardOutput"] == "null"  # it names customers
    assert service["NoNewPrivileges"] == "yes"


def test_the_system_unit_may_write_to_the_studio_alone() -> None:
    service = unit(SYSTEM)["Service"]
    assert service["ReadWritePaths"] == shlex.split(service["ExecStart"])[2]
    assert (service["ProtectSystem"], service["PrivateTmp"]) == ("strict", "yes")


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd-analyze is not on this machine")
@pytest.mark.parametrize(("text", "kind"), [(USER, "--user"), (SYSTEM, "--system")])
def test_systemd_finds_nothing_to_say_about_a_unit(tmp_path: Path, text: str, kind: str) -> None:
    path = tmp_path / "baywright.service"
    program = unit(text)["Service"]["ExecStart"].split()[0]
    path.write_text(text.replace(program, sys.executable), encoding="utf-8")
    checked = subprocess.run(
        ["systemd-analyze", kind, "--man=no", "--recursive-errors=no", "verify", str(path)],
        capture_output=True, encoding="utf-8", check=False, timeout=60,
        env={"XDG_RUNTIME_DIR": str(tmp_path), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    said = [line for line in (checked.stdout + checked.stderr).splitlines() if "baywright" in line]
    assert (checked.returncode, said) == (0, [])


def test_the_launchd_example_is_read_and_runs_a_command_that_exists() -> None:
    [text] = re.findall(r"```xml\n(.*?)```", PART, re.DOTALL)
    found = plistlib.loads(text.encode())
    assert understood(found["ProgramArguments"])
    assert found["KeepAlive"] == {"SuccessfulExit": False}
    assert f"/{found['Label']}.plist" in PART


def test_the_windows_words_name_a_command_that_exists() -> None:
    [program, words] = re.findall(r"start `(.*?)` with `(.*?)`", PART)[0]
    assert program.endswith(r"\Scripts\baywright.exe")
    assert understood(["baywright", *shlex.split(words, posix=False)])


def test_what_was_not_tried_is_marked() -> None:
    assert "**Windows** (untested)" in PART
    assert "**macOS** (untested)" in PART
