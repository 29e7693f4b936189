"""What lies in the drop folder: what is a visit, what is left alone, and never half of a file."""

import os
import socket
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline import arrivals
from pipeline.arrivals import Arrival, ChangedMeanwhileError
from pipeline.records import ShotFile
from pipeline.resources import table


def only(folder: Path) -> Arrival:
    [arrival] = arrivals.look(folder)
    return arrival


def names(folder: Path) -> list[str]:
    return [arrival.name for arrival in arrivals.look(folder)]


def inside(folder: Path) -> Path:
    """Make a folder to put something in."""
    folder.mkdir(exist_ok=True)
    return folder


def pipe(path: Path) -> None:
    os.mkfifo(inside(path.parent) / path.name)


@pytest.mark.parametrize("ending", table("drop_folder")["endings"])
def test_a_file_of_each_known_ending_is_a_visit(tmp_path: Path, ending: str) -> None:
    (tmp_path / f"customer 7.{ending}").write_bytes(b"x")
    (tmp_path / f"customer 8.{ending.upper()}").write_bytes(b"x")
    assert names(tmp_path) == ["customer 7", "customer 8"]


@pytest.mark.parametrize(
    "name",
    [
        ".hidden.csv", ".a.csv.XyZ123", "~$a.xlsx", "a.csv~", "a.csv.tmp", "a.csv.part", "a.csv.PART",
        "a.csv.crdownload", "a.csv.filepart", "a.csv.swp", "a.csv.bak", "Thumbs.db", "desktop.ini",
        "photo.jpg", "notes.pdf", "csv.exe", "a",
    ],
)  # fmt: skip
def test_unfinished_and_foreign_files_are_left_alone(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"x")
    (tmp_path / "visit").mkdir()
    (tmp_path / "visit" / name).write_bytes(b"x")
    assert names(tmp_path) == []


def listening(path: Path) -> None:
    """Put a socket there; its own path may be too long for the system, so it is named from its folder."""
    here = Path.cwd()
    os.chdir(path.parent)
    try:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(path.name)
    finally:
        os.chdir(here)


def device(path: Path) -> None:
    """Put a device there that gives bytes without end."""
    try:
        os.mknod(path, stat.S_IFCHR | 0o600, os.makedev(1, 5))
    except PermissionError:
        pytest.skip("only root may make a device")


@pytest.mark.parametrize(
    "make",
    [
        lambda p: pipe(p / "a.csv"),
        lambda p: (p / "a.csv").symlink_to("/etc/hostname"),
        lambda p: (p / "a.csv").symlink_to("nowhere"),
        lambda p: (p / "a.csv").mkdir(),
        lambda p: (p / "folder").symlink_to("/etc"),
        lambda p: inside(p / ".folder").joinpath("a.csv").write_bytes(b"x"),
        lambda p: pipe(p / "folder" / "a.csv"),
        lambda p: listening(p / "a.csv"),
        lambda p: device(p / "a.csv"),
        lambda p: inside(p / "folder").joinpath("a.csv").symlink_to("/etc/hostname"),
        lambda p: inside(p / "folder").joinpath("visit.toml").write_bytes(b""),
    ],
)
def test_pipes_links_and_empty_folders_are_left_alone(tmp_path: Path, make: Callable[[Path], object]) -> None:
    make(tmp_path)
    assert len(list(tmp_path.iterdir())) == 1
    assert names(tmp_path) == []


def test_a_folder_is_one_visit_with_its_facts(tmp_path: Path) -> None:
    folder = tmp_path / "customer 7"
    folder.mkdir()
    for name, content in {"b.csv": b"2", "a.csv": b"1", "visit.toml": b"3", "photo.jpg": b"4"}.items():
        (folder / name).write_bytes(content)
    arrival = only(tmp_path)
    assert (arrival.name, arrival.place, arrival.size) == ("customer 7", "customer 7", 3)
    assert arrivals.read(arrival) == (ShotFile("a.csv", b"1"), ShotFile("b.csv", b"2"), ShotFile("visit.toml", b"3"))


def test_visits_come_in_order_of_name(tmp_path: Path) -> None:
    for name in ("c.csv", "a.csv", "b.csv"):
        (tmp_path / name).write_bytes(b"x")
    assert names(tmp_path) == ["a", "b", "c"]


def test_a_folder_of_too_many_files_is_seen_as_such(tmp_path: Path) -> None:
    (tmp_path / "all").mkdir()
    for number in range(arrivals.MOST_FILES + 5):
        (tmp_path / "all" / f"{number}.csv").write_bytes(b"x")
    assert len(only(tmp_path).paths) == arrivals.MOST_FILES + 1


def replaced(path: Path) -> None:
    """Rename another file of the same content over it."""
    path.with_suffix(".tmp").write_bytes(path.read_bytes())
    path.with_suffix(".tmp").replace(path)


CHANGES: dict[str, Callable[[Path], object]] = {
    "grown": lambda p: p.write_bytes(b"longer than before"),
    "replaced": replaced,
    "touched": lambda p: os.utime(p, ns=(5, 5)),
}


@pytest.mark.parametrize("how", [*CHANGES, "gone"])
def test_a_change_shows_in_the_signature_and_stops_the_reading(tmp_path: Path, how: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"x")
    before = only(tmp_path)
    assert only(tmp_path) == before
    if how == "gone":
        path.unlink()
        assert names(tmp_path) == []
        with pytest.raises(FileNotFoundError):
            arrivals.read(before)
        return
    CHANGES[how](path)
    assert only(tmp_path).signature != before.signature
    with pytest.raises(ChangedMeanwhileError):
        arrivals.read(before)


def test_a_file_rewritten_during_the_reading_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"x")
    arrival = only(tmp_path)
    real_open = os.open

    def slow_open(*words: object) -> int:
        handle = real_open(*words)  # type: ignore[arg-type]
        path.write_bytes(b"xx")
        return handle

    monkeypatch.setattr(os, "open", slow_open)
    with pytest.raises(ChangedMeanwhileError):
        arrivals.read(arrival)


def test_a_file_turned_into_a_link_or_a_pipe_before_the_reading_is_not_taken(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"x")
    arrival = only(tmp_path)
    path.unlink()
    os.mkfifo(path)
    with pytest.raises(ChangedMeanwhileError):
        arrivals.read(arrival)
    path.unlink()
    path.symlink_to("/etc/hostname")
    with pytest.raises(OSError, match="symbolic links"):
        arrivals.read(arrival)


def test_a_file_that_grows_without_end_is_read_no_further_than_it_was_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"xy")
    arrival = only(tmp_path)
    with path.open("r+b") as out:
        out.truncate(10_000_000_000)  # more than there is room for in memory, and none of it on the disk
    asked: list[int] = []
    real = ShotFile

    def kept(name: str, content: bytes) -> ShotFile:
        asked.append(len(content))
        return real(name, content)

    monkeypatch.setattr(arrivals, "ShotFile", kept)
    with pytest.raises(ChangedMeanwhileError):
        arrivals.read(arrival)
    assert asked == [3]


def test_names_that_differ_only_in_case_are_two_visits(tmp_path: Path) -> None:
    for name in ("Aspen.csv", "ASPEN.CSV"):
        (tmp_path / name).write_bytes(name.encode())
    if len(list(tmp_path.iterdir())) < 2:
        pytest.skip("names that differ only in case are one name here")
    assert sorted(names(tmp_path)) == ["ASPEN", "Aspen"]


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        (b"bad \xff byte.csv", "bad \\xff byte"),
        ("ümlaut ´.csv".encode(), "ümlaut ´"),
        (b"line\nbreak.csv", "line\nbreak"),
        (b"-rf.csv", "-rf"),
        (b"x" * 240 + b".csv", "x" * 240),
        (b"a.b.c.csv", "a.b.c"),
    ],
)
def test_odd_names_are_taken_as_text_that_can_be_stored(tmp_path: Path, raw: bytes, shown: str) -> None:
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + raw)).write_bytes(b"x")
    arrival = only(tmp_path)
    assert arrival.name == shown
    [file] = arrivals.read(arrival)
    assert file.content == b"x"
    assert f"{arrival.name}{arrival.place}{file.name}".encode()


def test_two_names_with_different_bad_bytes_are_two_visits(tmp_path: Path) -> None:
    for raw in (b"/a\xfe.csv", b"/a\xff.csv"):
        Path(os.fsdecode(os.fsencode(tmp_path) + raw)).write_bytes(b"x")
    assert len({arrival.place for arrival in arrivals.look(tmp_path)}) == 2


def test_what_vanishes_while_looking_is_skipped_and_what_is_closed_is_listed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("closed", "gone", "here"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a.csv").write_bytes(b"x")
    real = arrivals.of_path

    def of_path(path: Path) -> Arrival | None:
        if path.name == "gone":
            raise FileNotFoundError(2, "No such file or directory")
        if path.name == "closed":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(arrivals, "of_path", of_path)
    assert names(tmp_path) == ["closed", "here"]


def test_of_path_takes_any_file_a_person_names(tmp_path: Path) -> None:
    (tmp_path / "export.dat").write_bytes(b"x")
    arrival = arrivals.of_path(tmp_path / "export.dat")
    assert arrival is not None
    assert arrival.name == "export"
