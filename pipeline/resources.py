"""Where schemas/, report_templates/ and inbox_example/ are: inside the installed package, else beside it."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

_PACKAGE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """Give the data folder of that name."""
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def names(inside: str) -> list[str]:
    """Name the files of a folder in schemas/, without their ending."""
    return sorted(path.stem for path in (folder("schemas") / inside).glob("*.toml"))


@cache
def table(name: str) -> dict[str, Any]:
    """Read schemas/<name>.toml, once; callers must not change what they get."""
    return tomllib.loads((folder("schemas") / f"{name}.toml").read_text(encoding="utf-8"))
