"""Real small and read-only disks under a studio; mounting takes rights, and without these the tests skip loudly."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pipeline import events
from tests.conftest import Bench

pytestmark = pytest.mark.slow
MEGABYTE = 1_000_000


def mount(*words: str | Path) -> None:
    if sys.platform != "linux":
        pytest.skip("NOT TESTED: disks are mounted on Linux only")
    done = subprocess.run(["mount", *map(str, words)], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"NOT TESTED: this user may not mount a disk ({done.stderr.strip()})")


@pytest.fixture
def mounted() -> Iterator[Callable[..., None]]:
    """Mount disks, and take them away again, the last first."""
    places: list[Path] = []

    def do(place: Path, *words: str | Path) -> None:
        place.mkdir(parents=True, exist_ok=True)
        mount(*words, place)
        places.append(place)

    yield do
    for place in reversed(places):
        subprocess.run(["umount", "--lazy", str(place)], check=True)


@pytest.fixture
def small_disk(tmp_path: Path, mounted: Callable[..., None]) -> Path:
    """Give the place of a studio on a disk of 6 MB."""
    mounted(tmp_path / "studio", "-t", "tmpfs", "-o", "size=6m", "tmpfs")
    return tmp_path / "studio"


def half_made(root: Path) -> list[str]:
    return [path.name for path in root.rglob("*") if path.name.startswith(".") or path.suffix == ".part"]


def test_a_disk_that_is_full_blames_no_file_and_all_are_reported_once_it_has_room(
    small_disk: Path, bench: Bench
) -> None:
    """Each file lies there twice, as dropped and as kept: 6 MB hold the copies of two of the three."""
    inbox = bench.open()
    dropped = [bench.drop(f"visit {n}.csv", f"{n}" * MEGABYTE) for n in (1, 2, 3)]
    for _ in range(4):
        bench.go(inbox, events.PAUSE_AFTER_TROUBLE_S + 1)
    assert "trouble" in bench.kinds()
    assert len(bench.reports()) < 3
    assert bench.set_back() == []
    inbox.ledger.close()
    inbox = bench.open()  # started again while it is still full
    bench.go(inbox, events.PAUSE_AFTER_TROUBLE_S + 1)
    assert bench.set_back() == []
    mount("-o", "remount,size=64m", small_disk)
    for _ in range(3):
        bench.go(inbox, events.PAUSE_AFTER_TROUBLE_S + 1)
    assert bench.reports() == [f"2026-11-25 visit {n}" for n in (1, 2, 3)]
    assert bench.kinds().count("reported") == 3
    assert bench.set_back() == half_made(bench.studio.root) == []
    assert [path.read_bytes()[:1] for path in dropped] == [b"1", b"2", b"3"]


@pytest.mark.parametrize("tidy", ["never", "move"])
def test_a_drop_folder_that_may_only_be_read_is_enough(bench: Bench, mounted: Callable[..., None], tidy: str) -> None:
    bench.extra_settings = f'tidy = "{tidy}"\n'
    inside = bench.drop("visit.csv", "shots")
    mounted(bench.studio.inbox, "--bind", bench.studio.inbox)
    mount("-o", "remount,bind,ro", bench.studio.inbox)
    with pytest.raises(OSError, match="Read-only"):
        bench.drop("another.csv", "shots")
    inbox = bench.open()
    for _ in range(3):
        bench.go(inbox, events.PAUSE_AFTER_TROUBLE_S + 1)
    assert bench.reports() == ["2026-11-25 visit"]
    assert inside.read_text(encoding="utf-8") == "shots"
    assert bench.kinds().count("reported") == 1


def test_a_drop_folder_whose_disk_goes_and_comes_back_loses_nothing(bench: Bench, mounted: Callable[..., None]) -> None:
    """The share is gone: what lies there cannot be seen, and that is not taken for deleted."""
    disk = bench.studio.root / "share"
    mounted(disk, "-t", "tmpfs", "-o", "size=4m", "tmpfs")
    (disk / "visit.csv").write_text("shots", encoding="utf-8")
    bench.studio.inbox.rmdir()
    bench.studio.inbox.symlink_to(disk)
    inbox = bench.open()
    bench.go(inbox)
    bench.studio.inbox.unlink()  # the mount point is gone
    with pytest.raises(OSError, match="No such file"):
        inbox.settled()
    bench.studio.inbox.symlink_to(disk)
    (disk / "later.csv").write_text("more shots", encoding="utf-8")
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 later", "2026-11-25 visit"]
    assert bench.kinds() == ["reported", "reported"]
