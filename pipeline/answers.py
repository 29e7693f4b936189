"""Staff's answers on disk: the mapping profiles of work/profiles, read anew when any of them changes."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from pipeline import profiles, strict_toml, studio
from pipeline.errors import SettingsError
from pipeline.profiles import Profile
from pipeline.records import Given

_LARGEST = 200_000


@dataclass(slots=True)
class Answers:
    """Answers by layout (fingerprint of the headings); signature changes whenever a profile does."""

    by_layout: dict[str, Given] = field(default_factory=dict)
    signature: str = ""

    def look(self, folder: Path) -> Iterator[str]:
        """Read the profiles if they changed; gives a sentence for each that cannot be understood."""
        paths = sorted(folder.glob("*.toml"))
        keys = [(path.name, *(path.stat().st_size, path.stat().st_mtime_ns)) for path in paths]
        signature = hashlib.sha256(repr(keys).encode("utf-8", "surrogateescape")).hexdigest()
        if signature == self.signature:
            return
        self.signature, self.by_layout = signature, {}
        for path in paths:
            try:
                found = load(path)
            except (SettingsError, OSError) as fault:
                yield str(fault)
                continue
            known = self.by_layout.get(found.fingerprint)
            self.by_layout[found.fingerprint] = profiles.joined(known, found.given) if known else found.given


def load(path: Path) -> Profile:
    """Read one profile."""
    with path.open("rb") as source:
        content = source.read(_LARGEST + 1)
    if len(content) > _LARGEST:
        msg = f"{path}: too large for a mapping profile."
        raise SettingsError(msg)
    return profiles.parse(strict_toml.decode(content, str(path)), str(path))


def save(folder: Path, profile: Profile) -> Path:
    """Write a profile, over an earlier one for the same layout if there is one."""
    for path in sorted(folder.glob("*.toml")):
        try:
            earlier = load(path)
        except (SettingsError, OSError):
            continue
        if earlier.fingerprint == profile.fingerprint:
            merged = Profile(earlier.name, earlier.fingerprint, profiles.joined(earlier.given, profile.given))
            studio.write_file(path, profiles.written(merged).encode())
            return path
    path = studio.free_place(folder, studio.safe_name(profile.name), ".toml")
    studio.write_file(path, profiles.written(profile).encode())
    return path
