"""`baywright report`: the next version of a report from what is kept, or the plain word that nothing has changed."""

import datetime as dt
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pypdf
import pytest

from pipeline import history_text, letter, studio
from pipeline.errors import FolderError, SettingsError, UnreadableFileError
from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread
from pipeline.ledger import Ledger
from pipeline.records import Fitting
from pipeline.settings import Settings

if TYPE_CHECKING:
    from tests.conftest import Bench

Run = Callable[..., tuple[int, str, str]]
NAME = "2026-03-01 a"
HEAD = "Club,Club speed (mph),Ball speed (mph),Launch angle (deg),Spin rate (rpm)\n"
SHOTS = HEAD + "".join(f"Own driver,{94 + i % 3},{135 + i % 4},{10 + i % 2},{2900 + 10 * i}\n" for i in range(8))


def files(fitting: Fitting, settings: Settings, _logo: object) -> dict[str, bytes]:
    """Stand in for pipeline.outputs.files: each file has in it what the real one would have."""
    facts, day = fitting.facts, fitting.version_date
    visit = {
        "id": fitting.visit_id, "date": fitting.date.isoformat(), "customer": facts.customer,
        "version": fitting.version, "version_date": day.isoformat() if day else None,
        "history": history_text.plain(fitting.history),
    }  # fmt: skip
    return {
        "report.pdf": f"{settings.name} {fitting.version} {day} {facts.customer} {fitting.date}".encode(),
        "letter.eml": f"{facts.email} {settings.mail_from}".encode(),
        "fitting.json": json.dumps({"visit": visit, "shots": []}, indent=1).encode(),
    }


@pytest.fixture
def place(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the folder of a report that is there already."""
    monkeypatch.setattr("pipeline.visits.outputs.files", files)
    bench.today = dt.date(2026, 3, 1)
    bench.drop("a/shots.csv", "shots")
    bench.drop("a/visit.toml", "customer = 'Oak'")
    inbox = bench.open()
    bench.go(inbox)
    inbox.ledger.close()
    return bench.studio.outbox / NAME


def contents(place: Path) -> dict[str, bytes]:
    return {path.relative_to(place).as_posix(): path.read_bytes() for path in place.rglob("*") if path.is_file()}


def today() -> dt.date:
    return dt.datetime.now().astimezone().date()


def set_to(bench: "Bench", text: str) -> None:
    (bench.studio.root / "studio.toml").write_text(text, encoding="utf-8")


# --- versions ---------------------------------------------------------------------------------------------------------
def test_nothing_changed_is_said_and_nothing_is_made(bench: "Bench", place: Path, run: Run) -> None:
    before = contents(place)
    said = f"nothing has changed: version 1 stands → {place / 'report.pdf'}\n"
    assert run("report", bench.studio.root, "a") == (0, said, "")
    assert contents(place) == before


def test_a_changed_setting_makes_a_version_and_keeps_the_one_before(bench: "Bench", place: Path, run: Run) -> None:
    before = contents(place)
    for version in (2, 3):
        set_to(bench, f"name = 'Studio {version}'")
        code, out, err = run("report", bench.studio.root, "A")
        assert (code, err) == (0, "")
        assert out.splitlines() == [
            f"version {version} → {place / 'report.pdf'}",
            f"version {version - 1} is kept in {place / 'earlier' / f'version {version - 1}'}",
            "(1 ball, 0 counted, 0 sets)",
        ]
        said = f"nothing has changed: version {version} stands → {place / 'report.pdf'}\n"
        assert run("report", bench.studio.root, "a") == (0, said, "")
    now = contents(place)
    assert {name.removeprefix("earlier/version 1/"): now[name] for name in now if "version 1/" in name} == before
    assert now["earlier/version 2/report.pdf"] == f"Studio 2 2 {today()} Oak 2026-03-01".encode()
    assert now["report.pdf"] == f"Studio 3 3 {today()} Oak 2026-03-01".encode()  # the visit's own day stays
    assert len(now) == 9
    assert [path.name for path in bench.studio.outbox.iterdir()] == [NAME]


LEARNED = [
    History((KindHistory("driver", n, BetweenClubs(1.8288, 60.0, "history"), TypicalSpread(9.0, 20.0)),))
    for n in (40, 90)
]


def learn(bench: "Bench", history: History | None) -> None:
    ledger = Ledger(bench.studio.work / "ledger.sqlite3")
    ledger.changed("history", history_text.written(history) if history else "")
    ledger.close()


@pytest.mark.parametrize(("first", "later"), [(None, LEARNED[0]), (LEARNED[0], LEARNED[1]), (LEARNED[0], None)])
def test_a_report_made_again_knows_what_the_studio_had_learned_by_then(
    bench: "Bench", place: Path, run: Run, first: History | None, later: History | None
) -> None:
    learn(bench, first)
    bench.drop("b/shots.csv", "others")
    inbox = bench.open()
    bench.go(inbox)
    inbox.ledger.close()
    mine = place.parent / "2026-03-01 b"
    kept = json.loads((mine / "fitting.json").read_bytes())["visit"]["history"]
    assert kept == history_text.plain(first)
    learn(bench, later)
    before = contents(mine)
    assert run("report", bench.studio.root, "b")[1].startswith("nothing has changed: version 1 stands")
    set_to(bench, "name = 'Studio 2'")
    assert run("report", bench.studio.root, "b")[0] == 0
    assert contents(mine)["report.pdf"] != before["report.pdf"]
    assert json.loads((mine / "fitting.json").read_bytes())["visit"]["history"] == kept
    bench.drop("c/shots.csv", "more")
    inbox = bench.open()
    bench.go(inbox)
    inbox.ledger.close()
    newest = json.loads((place.parent / "2026-03-01 c" / "fitting.json").read_bytes())["visit"]["history"]
    assert newest == history_text.plain(later)


def test_a_history_that_is_damaged_in_the_ledger_is_none(bench: "Bench", place: Path) -> None:
    ledger = Ledger(bench.studio.work / "ledger.sqlite3")
    ledger.changed("history", '[{"kind": "driver"}]')
    ledger.close()
    bench.drop("b/shots.csv", "others")
    inbox = bench.open()
    bench.go(inbox)
    inbox.ledger.close()
    assert json.loads((place.parent / "2026-03-01 b" / "fitting.json").read_bytes())["visit"]["history"] is None


def test_a_report_whose_history_is_damaged_is_not_made_again(bench: "Bench", place: Path, run: Run) -> None:
    document = json.loads((place / "fitting.json").read_bytes())
    document["visit"]["history"] = [{"kind": "driver"}]
    (place / "fitting.json").write_text(json.dumps(document), encoding="utf-8")
    code, _, err = run("report", bench.studio.root, "a")
    assert code == FolderError.exit_code
    assert "fitting.json is damaged" in err


def test_corrected_facts_are_kept_for_every_later_version(bench: "Bench", place: Path, run: Run) -> None:
    facts = bench.studio.root / "right.toml"
    facts.write_text("customer = 'Aspen'\nemail = 'aspen@example.org'", encoding="utf-8")
    assert run("report", bench.studio.root, "a", "--facts", facts)[1].startswith("version 2 → ")
    assert b"Aspen" in (place / "report.pdf").read_bytes()
    assert b"aspen@example.org" in (place / "letter.eml").read_bytes()
    assert run("report", bench.studio.root, "a", "--facts", facts)[1].startswith("nothing has changed: version 2 ")
    facts.unlink()
    assert run("report", bench.studio.root, "a")[1].startswith("nothing has changed: version 2 stands")
    set_to(bench, "name = 'Another'")
    assert run("report", bench.studio.root, "a")[1].startswith("version 3 → ")
    assert b"Another 3" in (place / "report.pdf").read_bytes()
    assert b"Aspen" in (place / "report.pdf").read_bytes()
    inbox = bench.open()
    bench.go(inbox)  # what lies in inbox/ unchanged makes nothing more
    assert bench.kinds() == ["reported"]


def test_facts_no_report_prints_are_kept_without_a_new_version(bench: "Bench", place: Path, run: Run) -> None:
    assert place.is_dir()
    facts = bench.studio.root / "more.toml"
    facts.write_text("email = 'customer@example.org'\nconsent = 'report by e-mail'", encoding="utf-8")
    assert run("report", bench.studio.root, "a", "--facts", facts)[1].startswith("version 2 → ")
    facts.write_text("email = 'customer@example.org'\nconsent = 'agreed on paper'", encoding="utf-8")
    said = run("report", bench.studio.root, "a", "--facts", facts)[1]
    assert said.startswith("the facts are kept, and the report says nothing of what changed: version 2 stands → ")
    assert any(b"agreed on paper" in path.read_bytes() for path in bench.studio.accepted.iterdir())
    assert run("report", bench.studio.root, "a")[1].startswith("nothing has changed: version 2 ")


def test_facts_may_be_given_to_a_visit_that_had_none_and_the_address_alone_counts(
    bench: "Bench", place: Path, run: Run
) -> None:
    bench.drop("plain.csv", "other shots")
    inbox = bench.open()
    bench.go(inbox)
    facts = bench.studio.root / "f.toml"
    facts.write_text("email = 'aspen@example.org'", encoding="utf-8")
    assert run("report", bench.studio.root, "plain", "--facts", facts)[1].startswith("version 2 → ")
    assert (place.parent / "2026-03-01 plain" / "letter.eml").read_bytes() == b"aspen@example.org "
    assert run("report", bench.studio.root, "plain")[1].startswith("nothing has changed: version 2 stands")


def test_a_letter_staff_changed_is_left_alone_and_made_anew_when_they_delete_it(
    bench: "Bench", place: Path, run: Run
) -> None:
    (place / "letter.eml").write_bytes(b"ours")
    assert run("report", bench.studio.root, "a")[1].splitlines() == [
        f"nothing has changed: version 1 stands → {place / 'report.pdf'}",
        "letter.eml beside it is not what would be made now; delete it and run this again to get it anew",
    ]
    assert (place / "letter.eml").read_bytes() == b"ours"
    (place / "letter.eml").unlink()
    assert run("report", bench.studio.root, "a")[1].startswith("version 2 → ")
    assert (place / "letter.eml").read_bytes() == b"None "


def test_a_version_staff_took_out_or_put_in_makes_no_number_twice(bench: "Bench", place: Path, run: Run) -> None:
    (place / "earlier" / "version 7").mkdir(parents=True)
    (place / "earlier" / "version x").mkdir()
    set_to(bench, "name = 'Another'")
    assert run("report", bench.studio.root, "a")[1].startswith("version 9 → ")
    assert {p.name for p in (place / "earlier").iterdir()} == {"version 7", "version 8", "version x"}
    shutil.rmtree(place / "earlier")
    set_to(bench, "name = 'Yet another'")
    assert run("report", bench.studio.root, "a")[1].startswith("version 10 → ")


def test_the_next_drop_counts_on_from_a_version_made_by_hand(bench: "Bench", place: Path, run: Run) -> None:
    set_to(bench, "name = 'Another'")
    run("report", bench.studio.root, "a")
    document = json.loads((place / "fitting.json").read_bytes())
    document["shots"] = [{"file": "more.csv", "line": 2, "measured": {"carry_m": 200.0}}]
    (place / "fitting.json").write_text(json.dumps(document), encoding="utf-8")
    bench.drop("a/more.csv", "more shots")
    bench.go(bench.open())
    assert bench.events[-1].message.endswith("; version 3, the one before is kept in earlier/")
    assert {p.name for p in (place / "earlier").iterdir()} == {"version 1", "version 2"}


# --- refused ----------------------------------------------------------------------------------------------------------
def test_while_a_watcher_runs_it_says_what_to_do(bench: "Bench", place: Path, run: Run) -> None:
    held = studio.lock(bench.studio)
    before = contents(place)
    code, out, err = run("report", bench.studio.root, "a")
    held.release()
    assert (code, out) == (FolderError.exit_code, "")
    assert "another baywright is at work on this folder." in err
    assert err.endswith("A running watcher is stopped with Ctrl-C; nothing is lost, start it again after this.\n")
    assert contents(place) == before


@pytest.mark.parametrize(
    ("content", "code", "said"),
    [
        (b"custmer = 'A'", SettingsError.exit_code, "f.toml, line 1: unknown key 'custmer'. Did you mean 'customer'?"),
        (b"customer = '\xff'", SettingsError.exit_code, "f.toml, line 1: a character there is not UTF-8."),
        (b"#" * 1_000_001, SettingsError.exit_code, "f.toml: too large for a visit.toml."),
        (None, FolderError.exit_code, "f.toml: cannot be read: No such file or directory."),
    ],
)
def test_faulty_facts_are_refused_before_anything_is_done(
    bench: "Bench", place: Path, run: Run, content: bytes | None, code: int, said: str
) -> None:
    before, kept = contents(place), contents(bench.studio.accepted)
    facts = bench.studio.root / "f.toml"
    if content is not None:
        facts.write_bytes(content)
    found, out, err = run("report", bench.studio.root, "a", "--facts", facts)
    assert (found, out) == (code, "")
    assert said in err
    assert (contents(place), contents(bench.studio.accepted)) == (before, kept)


def test_what_is_no_longer_kept_is_said(bench: "Bench", place: Path, run: Run) -> None:
    before = contents(place)
    for path in bench.studio.accepted.glob("*.csv"):
        path.unlink()
    code, out, err = run("report", bench.studio.root, "a")
    assert (code, out) == (UnreadableFileError.exit_code, "")
    assert "a: The copy kept in work/accepted is gone. Drop the file again. No new version was made." in err
    for path in [*bench.studio.work.glob("ledger.sqlite3*"), *bench.studio.visits.iterdir()]:
        path.unlink()
    code, _, err = run("report", bench.studio.root, "a")  # of a ledger that was lost, and made anew from the report
    assert code == UnreadableFileError.exit_code
    assert "trouble  ledger: The ledger was missing and was made anew: 1 visit, 1 with a report." in err
    assert "a: The copy kept in work/accepted is gone." in err
    assert contents(place) == before
    document = json.loads((place / "fitting.json").read_bytes())
    document["visit"]["id"] = "0" * 64
    (place / "fitting.json").write_bytes(json.dumps(document).encode())
    code, _, err = run("report", bench.studio.root, "a")
    assert code == FolderError.exit_code
    assert "the ledger does not know this visit, so it cannot be made again from what is kept." in err
    (place / "fitting.json").write_bytes(b"{")
    code, _, err = run("report", bench.studio.root, "a")
    assert code == FolderError.exit_code
    assert "its fitting.json is damaged" in err
    assert run("report", bench.studio.root, "nobody")[2].startswith("baywright: 'nobody': no report has that in its")


def test_a_faulty_answer_or_logo_stops_it(bench: "Bench", place: Path, run: Run) -> None:
    before = contents(place)
    set_to(bench, "logo = 'none.svg'")
    code, _, err = run("report", bench.studio.root, "a")
    assert code == SettingsError.exit_code
    assert "none.svg: the logo cannot be read (there is no such file). See logo in " in err
    set_to(bench, "")
    (bench.studio.profiles / "x.toml").write_text("nonsense = 1", encoding="utf-8")
    code, _, err = run("report", bench.studio.root, "a")
    assert code == SettingsError.exit_code
    assert "x.toml" in err
    assert contents(place) == before


# --- killed, full disk ------------------------------------------------------------------------------------------------
class KilledError(BaseException):
    """Stands for kill -9: nothing of ours may catch it."""


def kill(*_words: object, **_named: object) -> None:
    raise KilledError


@pytest.mark.parametrize("where", ["pipeline.ledger.Ledger.keep", "pipeline.studio.write_version", "os.rename"])
def test_killed_and_run_again_there_is_one_new_version_with_the_corrected_facts(
    bench: "Bench", place: Path, run: Run, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    facts = bench.studio.root / "right.toml"
    facts.write_text("customer = 'Aspen'", encoding="utf-8")
    words = ("report", bench.studio.root, "a", "--facts", facts)
    with monkeypatch.context() as patched:
        patched.setattr(where, kill)
        with pytest.raises(KilledError):
            run(*words)
    assert run(*words)[1].startswith("version 2 → ")
    assert run(*words)[1].startswith("nothing has changed: version 2 stands")
    assert {p.name for p in (place / "earlier").iterdir()} == {"version 1"}
    assert b"Aspen" in (place / "report.pdf").read_bytes()
    assert list(bench.studio.root.rglob(".*")) == []


def test_a_folder_put_aside_by_a_killed_run_is_found(bench: "Bench", place: Path, run: Run) -> None:
    place.rename(place.with_name(f".old {place.name}"))
    assert run("report", bench.studio.root, "a")[1].startswith("nothing has changed: version 1 stands")
    assert place.exists()


def test_a_disk_that_refuses_is_said_plainly(
    bench: "Bench", place: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_words: object) -> None:
        raise OSError(28, "No space left on device")

    before = contents(place)
    set_to(bench, "name = 'Another'")
    with monkeypatch.context() as patched:
        patched.setattr(studio, "write_version", full)
        code, out, err = run("report", bench.studio.root, "a")
    assert (code, out) == (FolderError.exit_code, "")
    assert "the disk or a folder refused: No space left on device. No new version was made." in err
    assert contents(place) == before


# --- with the real report ---------------------------------------------------------------------------------------------
def test_the_second_version_says_so_in_the_report_the_letter_and_the_figures(tmp_path: Path, run: Run) -> None:
    made = studio.create(tmp_path / "studio")
    (made.inbox / "a.csv").write_text(SHOTS, encoding="utf-8")
    assert run("process", made.root)[0] == 0
    [place] = made.outbox.iterdir()
    first = contents(place)
    assert run("report", made.root, "a")[1].startswith("nothing has changed: version 1 stands")
    (made.root / "studio.toml").write_text("name = 'Example studio'", encoding="utf-8")
    code, out, _ = run("report", made.root, "a")
    assert code == 0
    assert "(8 balls, 8 counted, 1 set)" in out
    now = contents(place)
    assert {name.removeprefix("earlier/version 1/"): now[name] for name in now if "earlier" in name} == first
    visit, before = (json.loads(each["fitting.json"])["visit"] for each in (now, first))
    assert visit == before | {"version": 2, "version_date": today().isoformat()}
    assert (before["version"], before["version_date"]) == (1, None)
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(now["report.pdf"])).pages]
    day = f"{today().day} {today():%B %Y}"
    assert f"version 2 of {day}" in " ".join(pages[0].split())
    assert all("version 2" in page for page in pages)
    old = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(first["report.pdf"])).pages]
    assert not any("version" in page for page in old)
    sent = letter.read(now["letter.eml"], visit["id"])
    assert sent.subject.endswith(f", version 2 of {day}")
    assert sent.pdf_name.endswith("-version-2.pdf")
    assert sent.pdf == now["report.pdf"]
    assert letter.read(first["letter.eml"], visit["id"]).version != sent.version
    ledger = Ledger(made.work / "ledger.sqlite3")
    assert [entry.place for entry in ledger.entries("reported")] == [place.name]
    ledger.close()
