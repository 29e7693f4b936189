"""Passwords of the studio's servers: from a variable, or from a file that only its owner may read."""

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import SettingsError

_MOST_BYTES = 1_000


def find(variable: str, file: str, setting: str, root: Path, environment: Mapping[str, str]) -> str:
    """Give a password, or nothing; file is what the setting says, from the studio folder on."""
    found = environment.get(variable, "")
    return found or (of_file(root / Path(file).expanduser(), setting) if file else "")


def of_file(path: Path, setting: str) -> str:
    """Read a password file; refused while others on this computer may read it."""
    try:
        with path.open("rb") as file:
            if os.name == "posix" and stat.S_IMODE(os.fstat(file.fileno()).st_mode) & 0o077:
                msg = f'{path}: others may read the password in it. Keep it for yourself: chmod 600 "{path}"'
                raise SettingsError(msg)
            content = file.read(_MOST_BYTES)
    except OSError as fault:
        msg = f"{path}: the password file cannot be read ({fault.strerror}). See {setting} in studio.toml."
        raise SettingsError(msg) from fault
    return content.decode("utf-8-sig", errors="replace").strip("\r\n")
