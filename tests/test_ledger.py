"""The ledger, on SQLite and on PostgreSQL: one content, one visit; what happens to it survives the program."""

import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import hypothesis
import pytest
import sqlalchemy as sa
from hypothesis import strategies as st

from pipeline import database, ledger_tables
from pipeline.database import Shared
from pipeline.errors import FolderError
from pipeline.ledger import FINISHED_WITHOUT_REPORT, Entry, Kept, Ledger

if TYPE_CHECKING:
    from tests.postgresql import Server

A = Entry("id-a", "customer a", "accepted", 0, None, (("a.csv", "aaaa.csv"), ("visit.toml", "bbbb.toml")))
B = Entry("id-b", "customer b", "accepted", 0, None, (("b.csv", "cccc.csv"),))
NOON, LATER = "2026-11-25T12:00:00", "2026-11-25T12:00:01"
ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Path | Shared:
    """Give the place of a new ledger."""
    if request.param == "sqlite":
        return tmp_path / "ledger.sqlite3"
    server: Server = request.getfixturevalue("postgresql")
    return server.studio()


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "LONGEST_WAIT_FOR_STUDIO_S", 0.1)


@pytest.fixture
def ledger(where: Path | Shared) -> Iterator[Ledger]:
    with closing(Ledger(where)) as made:
        yield made


def command(ledger: Ledger, statement: str) -> None:
    """Say something to the one connection the ledger has."""
    with ledger._engine.connect() as connection:
        connection.exec_driver_sql(statement)
        connection.commit()


# --- visits -----------------------------------------------------------------------------------------------------------
def test_a_visit_is_noted_with_its_files_in_order(ledger: Ledger) -> None:
    assert ledger.accept(A, ("a.csv", "sig-1"), NOON)
    assert ledger.entry("id-a") == A
    assert ledger.entry("id-x") is None
    assert ledger.seen("a.csv", "sig-1")
    assert not ledger.seen("a.csv", "sig-2")
    assert not ledger.seen("b.csv", "sig-1")


@pytest.mark.parametrize("state", ["accepted", "processing", "waiting", "reported"])
def test_the_same_content_again_is_nothing_new(ledger: Ledger, state: str) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.move("id-a", state, "place")
    assert not ledger.accept(replace(A, name="copy"), ("copy.csv", "sig-2"), LATER)
    assert ledger.seen("copy.csv", "sig-2")
    assert ledger.entry("id-a") == replace(A, state=state, place="place")


@pytest.mark.parametrize("state", FINISHED_WITHOUT_REPORT)
def test_what_got_no_report_is_tried_again_when_it_is_dropped_again(ledger: Ledger, state: str) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.move("id-a", state, "a.csv", crashed=True)
    again = replace(A, name="again", originals=(("again.csv", "aaaa.csv"),))
    assert ledger.accept(again, ("again.csv", "sig-2"), LATER)
    assert ledger.entry("id-a") == again
    assert len(ledger.entries("accepted", *FINISHED_WITHOUT_REPORT)) == 1


def test_a_finished_file_supersedes_the_half_written_one_at_its_place_only(ledger: Ledger) -> None:
    elsewhere = replace(B, id="id-e")
    ledger.accept(A, ("a.csv", "half"), NOON)
    ledger.accept(elsewhere, ("e.csv", "half"), NOON)
    ledger.move("id-a", "waiting")
    ledger.move("id-e", "waiting")
    ledger.accept(B, ("a.csv", "whole"), LATER)
    assert ledger.states() == {"id-a": "superseded", "id-b": "accepted", "id-e": "waiting"}


def test_a_half_written_file_that_ends_as_known_content_is_superseded_too(ledger: Ledger) -> None:
    ledger.accept(B, ("b.csv", "sig"), NOON)
    ledger.move("id-b", "reported", "place")
    ledger.accept(A, ("copy.csv", "half"), NOON)
    ledger.move("id-a", "waiting")
    assert not ledger.accept(B, ("copy.csv", "whole"), LATER)
    assert [e.id for e in ledger.entries("superseded")] == ["id-a"]


def test_a_half_written_file_only_touched_goes_on_waiting(ledger: Ledger) -> None:
    ledger.accept(A, ("a.csv", "half"), NOON)
    ledger.move("id-a", "waiting")
    assert not ledger.accept(A, ("a.csv", "half, newer time"), LATER)
    assert [e.id for e in ledger.entries("waiting")] == ["id-a"]


def test_visits_come_in_the_order_they_were_dropped(ledger: Ledger) -> None:
    ledger.accept(A, ("a", "1"), LATER)
    ledger.accept(B, ("b", "1"), NOON)
    for identity in ("id-_", "id-Z"):  # of one moment: by id, as bytes go and not as a language sorts
        ledger.accept(replace(B, id=identity), (identity, "1"), NOON)
    assert [entry.id for entry in ledger.entries("accepted", "reported")] == ["id-Z", "id-_", "id-b", "id-a"]
    assert ledger.entries("reported") == []


def test_the_reports_of_one_place_come_newest_first(ledger: Ledger) -> None:
    for number, identity in enumerate("abcd"):
        ledger.accept(replace(A, id=identity), ("a.csv", identity), f"2026-11-25T12:00:0{number}")
        ledger.move(identity, "reported" if identity != "c" else "held", identity)
    ledger.accept(replace(B, id="e"), ("b.csv", "1"), NOON)
    ledger.move("e", "reported", "e")
    assert [entry.id for entry in ledger.at_same_place("a")] == ["d", "b"]
    assert ledger.at_same_place("e") == []


def test_visits_are_counted_by_state_with_the_oldest(ledger: Ledger) -> None:
    assert ledger.tally() == {}
    ledger.accept(B, ("b.csv", "sig-1"), LATER)
    ledger.accept(A, ("a.csv", "sig-2"), NOON)
    assert ledger.tally() == {"accepted": (2, NOON)}
    ledger.move("id-a", "reported", "place")
    assert ledger.tally() == {"accepted": (1, LATER), "reported": (1, NOON)}


def test_a_file_is_known_by_the_visit_it_was_taken_as(ledger: Ledger) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.accept(A, ("again.csv", "sig-2"), LATER)
    assert ledger.taken_as("a.csv", "sig-1") == ledger.taken_as("again.csv", "sig-2") == A
    assert ledger.taken_as("a.csv", "sig-2") is None


def test_crashes_are_counted(ledger: Ledger) -> None:
    ledger.accept(A, ("a", "1"), NOON)
    for expected in (1, 2, 3):
        ledger.move("id-a", "accepted", crashed=True)
        found = ledger.entry("id-a")
        assert found is not None
        assert found.attempts == expected


def test_other_originals_take_the_place_of_the_first_ones(ledger: Ledger) -> None:
    ledger.accept(A, ("a", "1"), NOON)
    ledger.accept(B, ("b", "1"), NOON)
    ledger.keep(replace(A, originals=(("z.csv", "zzzz.csv"),)))
    assert ledger.entry("id-a") == replace(A, originals=(("z.csv", "zzzz.csv"),))
    assert ledger.entry("id-b") == B


def test_a_value_is_remembered_until_it_changes(ledger: Ledger) -> None:
    assert [ledger.changed("profiles", value) for value in ("one", "one", "two", "two", "one")] == [1, 0, 1, 0, 1]
    assert ledger.changed("another", "one")


@pytest.mark.parametrize(
    "text", ["ümläut 球", "it's; DROP TABLE visit --", "100% %s :name", "a\nb\ttab", "\\x00", "😀"]
)
def test_names_come_back_as_they_were(ledger: Ledger, text: str) -> None:
    entry = replace(A, name=text, originals=((text, "aaaa.csv"),))
    ledger.accept(entry, (text, "1"), NOON)
    assert ledger.entry("id-a") == entry
    assert ledger.seen(text, "1")


def test_it_outlives_the_program(where: Path | Shared) -> None:
    with closing(Ledger(where)) as first:
        first.accept(A, ("a.csv", "sig-1"), NOON)
    with closing(Ledger(where)) as second:
        assert second.kept("id-a") == Kept(A, NOON, (("a.csv", "sig-1"),))


# --- studios ----------------------------------------------------------------------------------------------------------
def test_studios_share_a_database_and_nothing_else(postgresql: "Server") -> None:
    with closing(Ledger(postgresql.studio())) as one, closing(Ledger(postgresql.studio())) as other:
        assert one.accept(A, ("a.csv", "1"), NOON)
        one.move("id-a", "waiting")
        one.changed("profiles", "one")
        one.begin_sending("id-a", "v", NOON)
        assert not other.seen("a.csv", "1")
        assert (other.entry("id-a"), other.states(), other.kept("id-a"), other.tally()) == (None, {}, None, {})
        assert other.accept(replace(A, name="of the other"), ("a.csv", "1"), LATER)
        assert other.last_sending("id-a", "v") is None
        sending = other.begin_sending("id-a", "v", NOON)
        assert sending is not None
        other.end_sending(sending, NOON, sent=True)
        other.move("id-a", "waiting", crashed=True)
        other.keep(replace(A, originals=()))
        assert other.changed("profiles", "two")
        other.accept(B, ("a.csv", "2"), LATER)
        assert one.kept("id-a") == Kept(replace(A, state="waiting"), NOON, (("a.csv", "1"),))
        assert other.states() == {"id-a": "superseded", "id-b": "accepted"}
        last = one.last_sending("id-a", "v")
        assert last is not None
        assert last.state == "sending"
        assert not one.changed("profiles", "one")


@pytest.mark.usefixtures("impatient")
def test_of_two_programs_at_work_on_one_studio_the_second_is_refused(postgresql: "Server") -> None:
    where = postgresql.studio(alone=True)
    with closing(Ledger(where)) as first:
        with pytest.raises(
            FolderError, match="another baywright, perhaps on another computer, is at work on this studio"
        ):
            Ledger(where)
        with closing(Ledger(replace(where, alone=False))) as reader:  # a letter may be sent meanwhile
            reader.begin_sending("id-a", "v", NOON)
        with closing(Ledger(postgresql.studio(alone=True))) as other:
            assert other.accept(A, ("a.csv", "1"), NOON)
        assert first.accept(A, ("a.csv", "1"), NOON)
    Ledger(where).close()  # it is free again


@pytest.mark.usefixtures("impatient")
def test_the_lock_is_taken_anew_with_a_new_connection(postgresql: "Server") -> None:
    """Nothing is written without the lock: a server that was restarted may have given it to another program."""
    where = postgresql.studio(alone=True)
    with closing(Ledger(where)) as ledger:
        ledger.accept(A, ("a.csv", "1"), NOON)
        end_connections(postgresql)
        ledger.move("id-a", "processing")  # found out before the statement, and reached again
        with pytest.raises(FolderError):
            Ledger(where)
        end_connections(postgresql)
        with closing(Ledger(where)) as quicker:
            with pytest.raises(OSError, match="another baywright"):
                ledger.move("id-a", "reported")
            assert quicker.states() == {"id-a": "processing"}
        ledger.move("id-a", "reported")


def test_many_that_open_a_new_database_at_once_make_its_tables_once(postgresql: "Server") -> None:
    url, together, faults = postgresql.new_database(), threading.Barrier(6), []

    def begin() -> None:
        together.wait()
        try:
            Ledger(Shared(url, uuid.uuid4().hex)).close()
        except FolderError as fault:
            faults.append(fault)

    threads = [threading.Thread(target=begin) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with postgresql.connected(url) as connection:
        assert connection.execute("SELECT version FROM about").fetchall() == [(ledger_tables.VERSION,)]
        query = "SELECT DISTINCT collation_name FROM information_schema.columns WHERE table_name = 'visit'"
        collations = {name for [name] in connection.execute(query)}
    assert collations == {"C", None}  # texts sort by their bytes, as in SQLite; numbers have none


def test_a_studio_whose_program_just_ended_is_waited_for(postgresql: "Server") -> None:
    where = postgresql.studio(alone=True)
    first = Ledger(where)
    timer = threading.Timer(0.3, first.close)
    timer.start()
    Ledger(where).close()
    timer.join()


def end_connections(server: "Server") -> None:
    with server.connected() as other:
        other.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
            "WHERE pid <> pg_backend_pid() AND application_name = 'baywright'"
        )


# --- what the surroundings refuse -------------------------------------------------------------------------------------
def test_sqlite_syncs_every_commit_and_waits_for_others(tmp_path: Path) -> None:
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as made, made._engine.connect() as connection:
        pragmas = [
            connection.execute(sa.text(f"PRAGMA {n}")).scalar() for n in ("journal_mode", "synchronous", "busy_timeout")
        ]
    assert pragmas == ["wal", 2, 5000]


def test_who_will_write_waits_before_reading_what_another_changes(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as made, closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as other:
        with made._reading() as connection:
            connection.exec_driver_sql("SELECT * FROM visit")
            other.execute("BEGIN IMMEDIATE")
            other.execute("ROLLBACK")
        with made._writing(), pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")


def test_postgresql_syncs_every_commit_and_waits_for_others(postgresql: "Server") -> None:
    with closing(Ledger(postgresql.studio())) as made, made._engine.connect() as connection:
        wanted = ("synchronous_commit", "lock_timeout", "statement_timeout", "tcp_keepalives_idle", "application_name")
        found = [connection.execute(sa.text(f"SHOW {name}")).scalar() for name in wanted]
        assert made._engine.pool.status().startswith("Pool size: 1 ")  # the lock and the writing are of one session
    assert found == ["on", "5s", "30s", "0", "baywright"]  # keep-alives are for networks: 0 on a socket


@pytest.mark.parametrize("name", ["what? a studio", "100% #1", "a;b=c", "ümläut"])
def test_a_studio_folder_may_have_any_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    with closing(Ledger(tmp_path / name / "ledger.sqlite3")) as made:
        made.accept(A, ("a.csv", "sig-1"), NOON)
    assert (tmp_path / name / "ledger.sqlite3").stat().st_size > 0
    assert [path.name for path in tmp_path.iterdir()] == [name]


def _text(path: Path) -> None:
    path.write_bytes(b"not a database at all, but text" * 100)


def _cut(path: Path) -> None:
    with closing(Ledger(path)) as made:
        made.adopt([Kept(replace(A, id=f"{n}", state="held"), NOON, ((f"{n}", "1"),)) for n in range(200)], [], NOON)
    path.write_bytes(path.read_bytes()[:20_000])


def _overwritten(path: Path) -> None:
    """Spoil a page that is not looked at when the ledger is opened."""
    with closing(Ledger(path)) as made:
        made.adopt([Kept(replace(A, id=f"{n}", state="held"), NOON, ((f"{n}", "1"),)) for n in range(200)], [], NOON)
    with path.open("rb+") as file:
        file.seek(path.stat().st_size - 4096)
        file.write(b"\xff" * 4096)


@pytest.mark.parametrize("damage", [_text, Path.mkdir, _cut, _overwritten])
def test_a_ledger_that_cannot_be_used_says_what_to_do(tmp_path: Path, damage: Callable[[Path], None]) -> None:
    path = tmp_path / "ledger.sqlite3"
    damage(path)
    said = r"cannot be used .*move it away together with ledger.sqlite3-wal .* no report is made twice. Which letters"
    with pytest.raises(FolderError, match=said) as fault:
        Ledger(path)
    assert "\n" not in str(fault.value)


@contextmanager
def held(where: Path | Shared, server: "Server | None") -> Iterator[None]:
    """Hold a ledger's tables from another program."""
    if isinstance(where, Path):
        with closing(sqlite3.connect(where, isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            yield
        return
    assert server is not None
    with server.connected() as connection, connection.transaction():
        connection.execute("LOCK TABLE visit, sighting IN ACCESS EXCLUSIVE MODE")
        yield


def server_of(where: Path | Shared, request: pytest.FixtureRequest) -> "Server | None":
    return None if isinstance(where, Path) else request.getfixturevalue("postgresql")


def test_a_ledger_somebody_holds_is_trouble_of_the_surroundings(
    where: Path | Shared, ledger: Ledger, request: pytest.FixtureRequest
) -> None:
    command(ledger, "PRAGMA busy_timeout=10" if isinstance(where, Path) else "SET lock_timeout = '10ms'")
    with held(where, server_of(where, request)), pytest.raises(OSError, match=r"ledger: .*lock"):
        ledger.accept(A, ("a.csv", "sig-1"), NOON)
    assert ledger.accept(A, ("a.csv", "sig-1"), NOON)


@pytest.mark.slow
def test_a_ledger_is_waited_for_five_seconds(
    where: Path | Shared, ledger: Ledger, request: pytest.FixtureRequest
) -> None:
    ledger.accept(B, ("b.csv", "1"), NOON)
    with held(where, server_of(where, request)):
        start = time.monotonic()
        with pytest.raises(OSError, match=r"locked|lock timeout"):
            ledger.accept(A, ("a.csv", "sig-1"), NOON)
        assert 4.5 < time.monotonic() - start < 10
    assert ledger.states() == {"id-b": "accepted"}


def test_a_full_disk_changes_nothing(where: Path | Shared, ledger: Ledger, request: pytest.FixtureRequest) -> None:
    ledger.accept(A, ("a.csv", "1"), NOON)
    many = replace(B, originals=tuple((f"{n}.csv", f"{n}" * 500) for n in range(100)))
    full, empty = "PRAGMA max_page_count=1", "PRAGMA max_page_count=1000000"
    if server := server_of(where, request):
        assert isinstance(where, Shared)
        full = f"""CREATE FUNCTION full_{where.studio}() RETURNS trigger LANGUAGE plpgsql AS
            $$ BEGIN RAISE EXCEPTION 'no space left' USING ERRCODE = 'disk_full'; END $$;
            CREATE TRIGGER full_{where.studio} BEFORE INSERT ON original FOR EACH ROW
            WHEN (NEW.studio = '{where.studio}') EXECUTE FUNCTION full_{where.studio}()"""
        empty = f"DROP TRIGGER full_{where.studio} ON original"
        with server.connected() as connection:
            connection.execute(full)
    else:
        command(ledger, full)
    with pytest.raises(OSError, match=r"full|no space left") as fault:
        ledger.accept(many, ("b.csv", "1"), NOON)
    assert "500" not in str(fault.value)
    assert ledger.states() == {"id-a": "accepted"}
    assert not ledger.seen("b.csv", "1")
    command(ledger, empty)
    assert ledger.accept(many, ("b.csv", "1"), NOON)


def test_a_read_only_ledger_is_trouble_of_the_surroundings(where: Path | Shared, ledger: Ledger) -> None:
    ledger.accept(A, ("a.csv", "1"), NOON)
    off = "PRAGMA query_only=ON" if isinstance(where, Path) else "SET default_transaction_read_only = on"
    command(ledger, off)
    with pytest.raises(OSError, match=r"read-?only"):
        ledger.move("id-a", "reported")
    assert ledger.states() == {"id-a": "accepted"}


def test_a_server_that_is_away_is_trouble_of_the_surroundings(postgresql: "Server") -> None:
    away = replace(postgresql.studio(), url=postgresql.url.set(query={"host": "/tmp/no server here"}))  # noqa: S108
    with pytest.raises(
        FolderError, match=r"database postgres: the ledger cannot be used .* the password and the network"
    ):
        Ledger(away)


# --- two programs at once ---------------------------------------------------------------------------------------------
RACE = """
import sys, time, sqlalchemy
from pathlib import Path
from pipeline.database import Shared
from pipeline.ledger import Entry, Ledger
kind, at, studio, start = sys.argv[1:]
where = Path(at) if kind == "sqlite" else Shared(sqlalchemy.make_url(at), studio)
time.sleep(max(0, float(start) - time.time()))
ledger = Ledger(where)
won = []
for number in range(60):
    entry = Entry(f"{number}", "name", "accepted", 0, None, ((f"{number}.csv", "aaaa.csv"),))
    if ledger.accept(entry, (f"{number}.csv", "1"), "2026-11-25T12:00:00"):
        won.append(number)
    if ledger.begin_sending(f"{number}", "v", "now"):
        won.append(1000 + number)
print(*won)
ledger.close()
"""


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_of_programs_that_race_for_the_same_content_one_wins(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """They open a ledger that is not there yet, all at once, and drop the same files and send the same letters."""
    path = str(tmp_path / "ledger.sqlite3")
    if kind == "postgresql":
        server: Server = request.getfixturevalue("postgresql")
        path = server.new_database().render_as_string(hide_password=False)
    words = [sys.executable, "-c", RACE, kind, path, uuid.uuid4().hex, str(time.time() + 1.5)]
    racing = [subprocess.Popen(words, stdout=subprocess.PIPE, cwd=ROOT, encoding="utf-8") for _ in range(3)]
    outcomes = [(racer.communicate(timeout=60)[0], racer.returncode) for racer in racing]
    assert [code for _, code in outcomes] == [0, 0, 0]
    won = [int(number) for said, _ in outcomes for number in said.split()]
    assert sorted(won) == [*range(60), *range(1000, 1060)]


# --- both alike -------------------------------------------------------------------------------------------------------
IDS, PLACES, SIGNATURES = (st.sampled_from(options) for options in (["a", "B", "ü"], ["p", "Q"], ["1", "2"]))
STATES = st.sampled_from(["accepted", "processing", "waiting", "superseded", "reported", "held", "set_back"])
ORIGINAL_LISTS = st.lists(st.tuples(st.sampled_from(["x.csv", "y.csv"]), st.just("aaaa.csv")), max_size=2).map(tuple)
ENTRIES = st.builds(Entry, IDS, st.text("ab ", max_size=2), st.just("accepted"), st.just(0), st.none(), ORIGINAL_LISTS)
WHEN = st.sampled_from([NOON, LATER])
OPERATIONS = st.one_of(
    st.tuples(st.just("accept"), ENTRIES, st.tuples(PLACES, SIGNATURES), WHEN),
    st.tuples(st.just("move"), IDS, STATES, st.none() | st.just("place"), st.booleans()),
    st.tuples(st.just("keep"), ENTRIES),
    st.tuples(st.just("changed"), PLACES, SIGNATURES),
    st.tuples(st.just("seen"), PLACES, SIGNATURES),
    st.tuples(st.just("begin_sending"), IDS, SIGNATURES, WHEN, st.booleans()),
    st.tuples(st.just("end_sending"), IDS, SIGNATURES, WHEN, st.booleans()),
    st.tuples(st.just("adopt"), ENTRIES, STATES, st.tuples(PLACES, SIGNATURES), WHEN),
    st.tuples(st.just("erase"), IDS, WHEN),
    st.tuples(st.just("take_again"), IDS),
)


def do(ledger: Ledger, name: str, words: tuple[Any, ...]) -> object:
    if name == "move":
        ledger.move(*words[:3], crashed=words[3])
        return None
    if name == "begin_sending":
        return ledger.begin_sending(*words[:3], again=words[3])
    if name == "end_sending":
        last = ledger.last_sending(words[0], words[1])
        if last:
            ledger.end_sending(last, words[2], sent=words[3])
        return last
    if name == "adopt":
        entry, state, sighting, at = words
        known = [] if entry.id in ledger.states() else [Kept(replace(entry, state=state), at, (sighting,))]
        ledger.adopt(known, [(entry.id, "1")], at)
        return None
    if name == "erase":
        ledger.begin_forgetting([words[0]])
        ledger.blank([words[0]], words[1])
        return ledger.forgotten(words[0])
    return getattr(ledger, name)(*words)


def everything(ledger: Ledger) -> object:
    ids = ("a", "B", "ü")
    letters = [ledger.last_sending(i, version) for i in ids for version in ("1", "2")]
    here = [ledger.at_same_place(identity) for identity in ids]
    return ledger.states(), ledger.all_kept(), letters, here, ledger.tally()


def hold_both(server: "Server", operations: list[tuple[Any, ...]]) -> None:
    """Do the same on both, and compare every answer and what is there at the end."""
    with (
        tempfile.TemporaryDirectory() as folder,
        closing(Ledger(Path(folder) / "ledger.sqlite3")) as one,
        closing(Ledger(server.studio())) as other,
    ):
        for name, *words in operations:
            assert do(one, name, tuple(words)) == do(other, name, tuple(words))
        assert everything(one) == everything(other)


ANY_ORDER = hypothesis.given(operations=st.lists(OPERATIONS, max_size=25))
ONE_SERVER = [hypothesis.HealthCheck.function_scoped_fixture]


@ANY_ORDER
@hypothesis.settings(max_examples=12, suppress_health_check=ONE_SERVER)
def test_both_databases_do_the_same(postgresql: "Server", operations: list[tuple[Any, ...]]) -> None:
    hold_both(postgresql, operations)


@pytest.mark.slow
@ANY_ORDER
@hypothesis.settings(max_examples=100, suppress_health_check=ONE_SERVER)
def test_both_databases_do_the_same_at_length(postgresql: "Server", operations: list[tuple[Any, ...]]) -> None:
    hold_both(postgresql, operations)


# --- erasing ----------------------------------------------------------------------------------------------------------
def test_an_erased_visit_leaves_a_hash_a_state_and_signatures(ledger: Ledger) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.accept(A, ("copy of a.csv", "sig-1"), NOON)
    ledger.accept(B, ("b.csv", "sig-2"), NOON)
    ledger.move("id-a", "reported", "2026-11-25 a")
    ledger.move("id-b", "held", "b.csv")
    ledger.begin_sending("id-a", "version", NOON)
    ledger.begin_forgetting(["id-a", "id-b"])
    assert {e.id: e.place for e in ledger.entries("forgetting")} == {"id-a": "2026-11-25 a", "id-b": None}
    assert (ledger.forgotten("id-a"), ledger.forgotten("id-x")) == ("", None)
    for _ in range(2):  # a second time, as after a kill
        ledger.blank(["id-a"], "2026-11-26")
        ledger.end_forgetting(["id-a"])
        ledger.begin_forgetting(["id-a"])
        nameless = Entry("id-a", "", "forgotten", 0, None, ())
        assert ledger.kept("id-a") == Kept(nameless, "2026-11-26", (("", "sig-1"),))
    known = {kept.entry.id: kept for kept in ledger.all_kept()}
    assert known["id-b"].entry == replace(B, state="forgetting")
    assert known["id-b"].sightings == (("b.csv", "sig-2"),)
    assert ledger.forgotten("id-a") == "2026-11-26"
    assert ledger.last_sending("id-a", "version") is None
    assert ledger.seen("whatever it is called.csv", "sig-1")
    assert not ledger.seen("a.csv", "sig-2")


def test_an_erased_visit_is_taken_again_only_when_the_note_is_lifted(ledger: Ledger) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.take_again("id-a")
    assert ledger.entry("id-a") == A
    ledger.begin_forgetting(["id-a"])
    ledger.blank(["id-a"], "2026-11-26")
    ledger.take_again("id-a")
    assert ledger.forgotten("id-a") == ""
    ledger.end_forgetting(["id-a"])
    ledger.see_forgotten("id-a", "sig-2")
    ledger.see_forgotten("id-a", "sig-2")
    assert ledger.seen("b.csv", "sig-2")
    ledger.take_again("id-a")
    assert not ledger.seen("b.csv", "sig-2")
    assert ledger.accept(A, ("a.csv", "sig-1"), LATER)
    assert ledger.remembered("a") == ""
    ledger.changed("a", "b")
    assert ledger.remembered("a") == "b"
