"""The way to a desk that runs: its port and the one-time key of its start address, in files only their owner may read.

The key lies in a file and not in memory alone, so that starting the desk a second time can open the one that runs.
"""

import hmac
import secrets
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline import studio
from pipeline.desk_guard import OPEN
from pipeline.studio import Studio


@dataclass(frozen=True, slots=True)
class DeskKeys:
    """The files of one studio's desk."""

    place: Studio

    @property
    def _key(self) -> Path:
        return self.place.work / "desk-key"

    @property
    def _port(self) -> Path:
        return self.place.work / "desk-port"

    def note_port(self, port: int) -> None:
        """Say on which port the desk listens."""
        studio.write_file(self._port, str(port).encode())

    def address(self, port: int) -> str:
        """Make a start address; one made before is good no more."""
        key = secrets.token_urlsafe(24)
        studio.write_file(self._key, key.encode())
        return f"http://127.0.0.1:{port}{OPEN}?key={key}"

    def use_up(self, key: str) -> bool:
        """Tell whether this is the key, which is then good no more."""
        try:
            known = self._key.read_bytes()
        except FileNotFoundError:
            return False
        if not known or not hmac.compare_digest(known, key.encode()):
            return False
        self._key.unlink()
        return True

    def hold(self) -> FileLock | None:
        """Be the one desk of this studio; None while another program is it."""
        held = FileLock(self.place.work / "desk-lock", timeout=0)
        try:
            held.acquire()
        except Timeout:
            return None
        return held

    def port(self) -> int | None:
        """Give the port of the desk that runs; None while it is starting."""
        try:
            return int(self._port.read_bytes())
        except (FileNotFoundError, ValueError):
            return None

    def clear(self) -> None:
        """Take the way in away again."""
        for path in (self._key, self._port):
            path.unlink(missing_ok=True)
