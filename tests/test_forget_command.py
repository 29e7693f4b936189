"""`baywright forget`: lists first, erases when asked to, and says what is left by name and exit code."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio
from pipeline.errors import FolderError, NotErasedError, SettingsError
from pipeline.ledger import Ledger
from pipeline.studio import Studio

if TYPE_CHECKING:
    from tests.conftest import Bench

Run = Callable[..., tuple[int, str, str]]
ULMA = "customer = 'Ulma Sömmersand'\nemail = 'ulma@example.org'"


@pytest.fixture
def place(bench: "Bench") -> Studio:
    """Give a studio with a visit of Ulma and one of another customer."""
    inbox = bench.open()
    bench.drop("ulma s/driver u.csv", "shots of ulma")
    bench.drop("ulma s/visit.toml", ULMA)
    bench.drop("ulma sand.csv", "shots of ulma sand")
    bench.go(inbox)
    inbox.ledger.close()
    return bench.studio


def tree(place: Studio) -> dict[str, bytes]:
    found = [path for path in place.root.rglob("*") if path.is_file() and path.parent != place.work]
    return {path.relative_to(place.root).as_posix(): path.read_bytes() for path in found}


def names(place: Studio) -> list[str]:
    ledger = Ledger(place.work / "ledger.sqlite3")
    found = [kept.entry.name for kept in ledger.all_kept()]
    ledger.close()
    return sorted(found)


def test_without_yes_it_is_listed_and_nothing_is_touched(place: Studio, run: Run) -> None:
    before = tree(place)
    code, out, err = run("forget", place.root, "Ulma Sömmersand")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "This would be erased; nothing is erased yet."
    heads = [line[:10].strip() for line in lines[1:]]
    assert heads[:8] == ["visit", "report", "original", "original", "dropped", "dropped", "search for", "What must"]
    assert lines[1].startswith("visit      ulma s, reported, 20")
    assert lines[2] == "report     outbox/2026-11-25 ulma s, with all versions"
    assert lines[5] == "dropped    inbox/ulma s/driver u.csv: stays, it is yours to delete; or add --inbox"
    assert "search for Ulma Sömmersand, ulma@example.org, ulma s, driver u.csv, 2026-11-25 ulma s" in lines
    assert "decided by the law where you are" in out
    assert lines[-1] == f'To erase it: baywright forget {place.root} "Ulma Sömmersand" --yes'
    assert tree(place) == before
    assert names(place) == ["ulma s", "ulma sand"]


def test_with_yes_it_is_erased_and_the_search_says_so(place: Studio, run: Run) -> None:
    code, out, err = run("forget", place.root, "ulma sömmersand", "--yes")
    assert (code, err) == (0, "")
    assert "erased: 1 visit\n" in out
    assert out.splitlines()[-1].startswith("nothing left: none of these words in the name or content of ")
    assert out.splitlines()[-1].endswith(" files, inbox/ and done/ left out")
    assert [path.name for path in place.outbox.iterdir()] == ["2026-11-25 ulma sand"]
    assert (place.inbox / "ulma s" / "visit.toml").exists()
    assert names(place) == ["", "ulma sand"]


def test_with_inbox_what_was_dropped_goes_and_is_searched_too(place: Studio, run: Run) -> None:
    (place.inbox / "ulma s" / "photo.txt").write_text("on the mat", encoding="utf-8")
    code, out, err = run("forget", place.root, "2026-11-25 ulma s", "--yes", "--inbox")
    assert code == NotErasedError.exit_code == 10
    assert "dropped    inbox/ulma s/visit.toml\n" in out
    assert "nothing left" not in out
    assert err.splitlines()[1:] == ["  inbox/ulma s: ulma s", "  inbox/ulma s/photo.txt: ulma s"]
    assert [path.name for path in (place.inbox / "ulma s").iterdir()] == ["photo.txt"]


def test_a_copy_that_somebody_made_is_named_and_is_not_removed(place: Studio, run: Run) -> None:
    copy = place.outbox / "2026-11-25 ulma sand" / "for Ulma Sömmersand.txt"
    copy.write_text("she asked", encoding="utf-8")
    code, _, err = run("forget", place.root, "ulma s", "--yes")
    assert code == NotErasedError.exit_code
    assert "something is still there. Look into it, and delete it by hand if it is of this customer:" in err
    assert err.splitlines()[1:] == ["  outbox/2026-11-25 ulma sand/for Ulma Sömmersand.txt: ulma s"]
    assert copy.exists()
    assert names(place) == ["", "ulma sand"]


def test_a_part_of_a_name_is_enough_to_look_and_not_to_erase(place: Studio, run: Run) -> None:
    before = tree(place)
    code, out, _ = run("forget", place.root, "sand")
    assert code == 0
    assert out.splitlines()[-1] == f'To erase it: baywright forget {place.root} "2026-11-25 ulma sand" --yes'
    code, out, err = run("forget", place.root, "sand", "--yes")
    assert (code, out) == (FolderError.exit_code, "")
    assert "no customer, visit or report's folder has exactly this name. Nothing was erased." in err
    assert tree(place) == before


def test_asked_once_more_it_says_where_the_name_still_is_and_erases_nobody_else(place: Studio, run: Run) -> None:
    run("forget", place.root, "ulma s", "--yes", "--inbox")
    before = tree(place)
    code, _, err = run("forget", place.root, "Ulma Sömmersand", "--yes")
    assert code == FolderError.exit_code
    assert "No file of this studio folder has it either." in err
    code, _, err = run("forget", place.root, "ulma s", "--yes")
    assert code == FolderError.exit_code
    assert tree(place) == before
    (place.inbox / "ulma sömmersand.csv").touch()
    _, _, err = run("forget", place.root, "Ulma Sömmersand", "--yes")
    assert err.splitlines()[1:] == ["  inbox/ulma sömmersand.csv"]


def test_what_a_killed_run_began_is_ended_whoever_is_asked_for(place: Studio, run: Run) -> None:
    ledger = Ledger(place.work / "ledger.sqlite3")
    ledger.begin_forgetting(kept.entry.id for kept in ledger.all_kept() if kept.entry.name == "ulma s")
    ledger.close()
    code, out, err = run("forget", place.root, "somebody", "--yes")
    assert (code, err) == (0, "")
    assert "visit      ulma s, forgetting, " in out
    assert names(place) == ["", "ulma sand"]


def test_a_report_that_a_killed_run_had_put_aside_goes_too(place: Studio, run: Run) -> None:
    (place.outbox / "2026-11-25 ulma s").rename(place.outbox / ".old 2026-11-25 ulma s")
    code, out, _ = run("forget", place.root, "2026-11-25 ulma s", "--yes")
    assert code == 0
    assert "nothing left" in out
    assert [path.name for path in place.outbox.iterdir()] == ["2026-11-25 ulma sand"]


def test_a_folder_in_use_is_refused(place: Studio, run: Run) -> None:
    held = studio.lock(place)
    code, _, err = run("forget", place.root, "ulma s", "--yes")
    held.release()
    assert code == FolderError.exit_code
    assert "another baywright is at work on this folder" in err
    assert "start it again after this" in err
    assert names(place) == ["ulma s", "ulma sand"]


def test_a_folder_the_ledger_does_not_know_is_left_to_staff(place: Studio, run: Run) -> None:
    (place.outbox / "our notes").mkdir()
    code, _, err = run("forget", place.root, "our notes")
    assert code == FolderError.exit_code
    assert "the ledger knows no visit of this folder; delete the folder by hand." in err
    assert (place.outbox / "our notes").is_dir()


def test_a_disk_that_refuses_says_what_to_do(place: Studio, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_words: object) -> None:
        raise PermissionError(13, "in use")

    with monkeypatch.context() as patched:
        patched.setattr("os.rename", refuse)
        code, _, err = run("forget", place.root, "ulma s", "--yes")
    assert code == FolderError.exit_code
    assert "Not all is erased: close what has a file of it open, then run the same command again." in err
    code, out, _ = run("forget", place.root, "ulma s", "--yes")
    assert code == 0
    assert "nothing left" in out


def test_names_too_short_to_prove_anything_are_said_and_not_searched(bench: "Bench", run: Run) -> None:
    inbox = bench.open()
    bench.drop("li.csv", "shots")
    bench.go(inbox)
    inbox.ledger.close()
    code, out, _ = run("forget", bench.studio.root, "li", "--yes")
    assert code == 0
    assert "not for    li (too short)" in out


def test_erased_too_wants_the_files_named(place: Studio, run: Run) -> None:
    code, _, err = run("process", place.root, "--erased-too")
    assert code == SettingsError.exit_code
    assert "--erased-too: name the FILEs to take." in err


def test_a_file_named_with_erased_too_gets_its_report_again(place: Studio, run: Run) -> None:
    run("forget", place.root, "ulma s", "--yes")
    _, out, _ = run("process", place.root, place.inbox / "ulma s")
    assert "known    ulma s: the same content was erased on" in out
    code, out, _ = run("process", place.root, place.inbox / "ulma s", "--erased-too")
    assert code == 0
    assert out.startswith("report   ulma s: ")


@pytest.mark.slow
@pytest.mark.parametrize("number", range(20))
def test_killed_for_real_at_any_moment_the_same_command_ends_it(place: Studio, number: int) -> None:
    def forget() -> "subprocess.Popen[str]":
        return subprocess.Popen(
            [sys.executable, "-m", "pipeline", "forget", str(place.root), "ulma s", "--yes", "--inbox"],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8",
            env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parent.parent)},
        )  # fmt: skip

    first, log = forget(), place.work / "ledger.sqlite3-wal"
    while first.poll() is None:
        with suppress(FileNotFoundError):
            if b"forgetting" in log.read_bytes():  # the first step
                time.sleep(0.003 * number)
                first.kill()
    first.communicate(timeout=60)
    second = forget()
    out, _ = second.communicate(timeout=60)
    assert ("nothing left" in out) or ("No file of this studio folder has it either." in out)
    assert names(place) == ["", "ulma sand"]
    assert [path.name for path in place.outbox.iterdir()] == ["2026-11-25 ulma sand"]
