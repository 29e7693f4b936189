"""The intake broken on purpose, in a copy: the tests named for it must fail."""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
BREAKAGES = tomllib.loads((HERE / "intake_breakages.toml").read_text(encoding="utf-8"))
COPIED = ("pipeline", "tests", "schemas", "report_templates", "inbox_example")


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Copy what the tests need."""
    root = tmp_path_factory.mktemp("copy")
    for name in COPIED:
        shutil.copytree(HERE.parent / name, root / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(HERE.parent / name, root / name)
    return root


def named(test: str) -> str:
    module, _, name = test.partition("::")
    return f"tests/{module}.py::{name}"


def passes(root: Path, *tests: str) -> bool:
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-n", "0", "-q", "-x", "-p", "no:cacheprovider", *map(named, tests)],
        cwd=root, env={**os.environ, "PYTHONPATH": str(root)}, capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stdout + done.stderr
    return done.returncode == 0


@pytest.mark.slow
def test_the_copy_is_sound(copy: Path) -> None:
    assert passes(copy, *dict.fromkeys(test for breakage in BREAKAGES.values() for test in breakage["caught_by"]))


@pytest.mark.slow
@pytest.mark.parametrize("name", BREAKAGES)
def test_a_broken_intake_is_caught(copy: Path, name: str) -> None:
    breakage = BREAKAGES[name]
    path = copy / "pipeline" / breakage["file"]
    sound = path.read_text(encoding="utf-8")
    assert sound.count(breakage["old"]) == 1
    path.write_text(sound.replace(breakage["old"], breakage["new"]), encoding="utf-8")
    try:
        for test in breakage["caught_by"]:
            assert not passes(copy, test), test
    finally:
        path.write_text(sound, encoding="utf-8")


def test_there_are_enough_of_them() -> None:
    assert len(BREAKAGES) >= 15
