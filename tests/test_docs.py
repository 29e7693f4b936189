"""What exists is documented, and what is documented exists."""

import re
from pathlib import Path

from pipeline import errors
from pipeline.cli import COMMANDS
from pipeline.resources import table
from pipeline.schema import measurements

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# baywright"
    assert "\n\n" not in paragraph
    assert len(paragraph.split()) > 60


def test_readme_has_the_two_commands() -> None:
    commands = re.findall(r"^\$\(command -v sudo\).*$", README, re.MULTILINE)
    assert len(commands) == 2
    assert commands[0].endswith("baywright demo")
    assert commands[1].endswith("pytest")


def test_every_command_is_documented() -> None:
    assert set(re.findall(r"^\| `baywright (\w+)", README, re.MULTILINE)) == set(COMMANDS)


def test_every_setting_is_documented_with_its_default() -> None:
    rows = dict(re.findall(r"^\| `(\w+)` \| (\S.*?) \|", README, re.MULTILINE))
    settings = table("settings")
    defaults = {key: row["default"] for key, row in settings.items() if "default" in row}
    wanted = {key: f'"{value}"' if isinstance(value, str) else str(value) for key, value in defaults.items()}
    wanted |= {key: f"as `{row['optional']}`" for key, row in settings.items() if "optional" in row}
    assert {key: rows.get(key) for key in settings} == wanted


def test_every_measurement_is_documented() -> None:
    assert [name for name in measurements() if f"`{name}`" not in README] == []


def test_every_exit_code_is_documented() -> None:
    codes = {c.exit_code for c in errors.PipelineError.__subclasses__()} | {
        errors.USAGE_EXIT_CODE,
        errors.INTERNAL_EXIT_CODE,
    }
    said = README[README.index("Exit codes:") : README.index("## Settings")]
    assert {int(n) for n in re.findall(r"(?<=[ ;])(\d+) [a-z]", said)} == codes | {0}


def test_developers_page_shows_the_arrows_of_the_contract() -> None:
    contract = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    layers = re.search(r"layers = \[(.*?)\]", contract, re.DOTALL)
    assert layers
    names = set(re.findall(r"\w+", layers.group(1)))
    drawn = DEVELOPERS[DEVELOPERS.index("cli → commands") :].split("```")[0]
    assert set(re.findall(r"\w+", drawn)) == names
