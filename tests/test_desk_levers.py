"""The step “What each lever was worth”: the report's own words and tables, “What if?”, and files that were spoilt."""

import datetime as dt
import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pipeline import exports, report, session, settings, studio, visit_facts
from pipeline.records import Fitting, ShotFile
from tests.conftest import bench_on
from tests.desk import Desk, desk_on

if TYPE_CHECKING:
    from httpx2 import Response

EXAMPLE = Path(__file__).parent.parent / "inbox_example/customer 0142"
SCRIPT = {"hx-request": "true"}
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def fitting() -> Fitting:
    """The example's driver visit, worked out."""
    file = ShotFile("driver shots.csv", (EXAMPLE / "driver shots.csv").read_bytes())
    facts = visit_facts.read((EXAMPLE / "visit.toml").read_text(encoding="utf-8"))
    made = session.fit("aspen", [file], facts, settings.load(""), dt.date(2026, 11, 25), "x")
    assert isinstance(made, Fitting)
    return made


@pytest.fixture(scope="module")
def shared(fitting: Fitting, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Desk, str]]:
    """A desk on whose bench that visit has its report, and what its fitting.json says."""
    with pytest.MonkeyPatch.context() as patch:
        bench = bench_on(tmp_path_factory.mktemp("bench"), patch)
        made = desk_on(bench)
        bench.drop("aspen.csv", "fine")
        made.go()
        [entry] = made.room.ledger.entries("reported")
        yield made, exports.fitting_json(replace(fitting, visit_id=entry.id))
        made.room.ledger.close()


@pytest.fixture
def desk(shared: tuple[Desk, str]) -> Desk:
    """That desk, entered, with the file as it was."""
    made, content = shared
    made.client.cookies.clear()
    made.enter()
    made.room.settings = settings.load("")
    file_of(made).unlink(missing_ok=True)
    file_of(made).write_text(content)
    return made


def file_of(desk: Desk) -> Path:
    [folder] = desk.bench.studio.outbox.iterdir()
    return folder / "fitting.json"


def address(desk: Desk) -> str:
    return f"/visit/{desk.room.ledger.entries('reported')[0].id}"


def page(desk: Desk, **given: str) -> str:
    answer = desk.client.get(address(desk), params=given)
    assert answer.status_code == 200
    return answer.text


def ask(desk: Desk, **given: str) -> "Response":
    return desk.client.get(f"{address(desk)}/what-if", params=given, headers=SCRIPT)


def spoil(desk: Desk, path: tuple[str | int, ...], value: object) -> None:
    document = place = json.loads(file_of(desk).read_bytes())
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    file_of(desk).write_text(json.dumps(document))


def rows(html: str) -> list[tuple[str, ...]]:
    """Give the rows of the answer's table."""
    [table] = re.findall(r'<table class="figures">.*?</table>', html, re.DOTALL)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>.*?</tr>", table)]
    return [tuple(unescape(cell) for cell in row) for row in cells[1:]]


# --- the report's words -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("language", ["en", "de"])
def test_tables_pictures_and_sentences_are_those_of_the_report(desk: Desk, fitting: Fitting, language: str) -> None:
    desk.room.settings = settings.load(f'language = "{language}"')
    printed, shown = report.render(fitting, desk.room.settings), page(desk)
    tables = re.findall(r'<table class="tight">.*?</table>', shown, re.DOTALL)
    pictures = re.findall(r"<svg.*?</svg>", shown)
    assert (len(tables), len(pictures)) == (4, 3)
    assert all(each in printed for each in [*tables, *pictures])
    told = re.search(f'<div class="told" lang="{language}[A-Z-]*">(.*?)<section id="what-if"', shown, re.DOTALL)
    assert told
    said = re.findall(r"<(?:p|p class=\"lead\"|li|h3|summary)>([^<]{20,})</", told[1])
    assert len(said) > 10
    assert [each for each in said if each not in printed] == []


def test_nothing_on_the_page_needs_more_than_its_policy_gives(desk: Desk) -> None:
    shown = page(desk, build="B", loft="1")
    assert not re.search(r"\sstyle=|<style|\son\w+=|<script(?! src=)|javascript:", shown)


def test_a_visit_without_a_comparison_has_its_answer_and_its_panel(desk: Desk, fitting: Fitting) -> None:
    entry = desk.room.ledger.entries("reported")[0]
    alone = replace(
        fitting, visit_id=entry.id, sets=fitting.sets[:1], comparisons=(), outlooks=(),
        shots=tuple(shot for shot in fitting.shots if shot.set_index == 0), levers=type(fitting.levers)(),
        judged=type(fitting.judged)(),
    )  # fmt: skip
    file_of(desk).write_text(exports.fitting_json(alone))
    shown = page(desk, build="A", loft="1")
    assert 'class="lead">' in shown
    assert "<svg" not in shown
    assert 'class="tight"' not in shown
    assert len(rows(shown)) == 7


def test_a_report_that_became_another_visits_is_not_told_here(desk: Desk) -> None:
    spoil(desk, ("visit", "id"), "f" * 64)
    assert 'id="levers"' not in page(desk)
    assert ask(desk, build="B", loft="1").status_code == 404


def test_a_visit_without_a_report_has_no_such_step(desk: Desk) -> None:
    desk.bench.drop("b.csv", "no table")
    desk.go()
    [back] = desk.room.ledger.entries("set_back")
    assert 'id="levers"' not in desk.client.get(f"/visit/{back.id}").text
    assert desk.client.get(f"/visit/{back.id}/what-if", headers=SCRIPT).status_code == 404


# --- what if ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"build": "B", "attack": "+2", "loft": "−1"}, ("--build", "B", "--attack", "+2deg", "--loft", "-1deg")),
        ({"build": "C", "club-speed": "3"}, ("--build", "C", "--club-speed", "3mph")),
        ({"build": "A", "strike": " .1 ", "loft": ""}, ("--build", "A", "--strike", "0.1")),
    ],
)
def test_it_says_what_the_command_says(desk: Desk, run: Run, fields: dict[str, str], words: tuple[str, ...]) -> None:
    code, out, _ = run("whatif", desk.bench.studio.root, file_of(desk).parent.name, *words)
    assert code == 0
    heading, _, *lines = out.splitlines()
    shown = page(desk, **fields)
    assert f"<caption><bdi>{heading}</bdi></caption>" in unescape(shown)
    assert [" ".join(row).split() for row in rows(shown.replace("\u00a0", " "))] == [line.split() for line in lines[:7]]
    flat = re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", shown)))
    assert " ".join(lines[7:]) in flat


def test_script_fetches_the_panel_alone_and_others_are_led_to_the_page(desk: Desk) -> None:
    part = ask(desk, build="B", loft="1").text
    whole = page(desk, build="B", loft="1")
    assert "<html" not in part
    assert 'id="levers"' not in part
    assert part.strip() in whole
    answer = desk.client.get(f"{address(desk)}/what-if", params={"build": "B", "loft": "1"})
    assert answer.status_code == 303
    assert answer.headers["location"] == f"{address(desk)}?build=B&loft=1#what-if"


def test_before_anybody_asks_nothing_is_worked_out_and_the_answers_club_is_chosen(desk: Desk) -> None:
    shown = page(desk)
    assert '<option value="C" selected>C Driver 3</option>' in shown
    assert shown.count('value="0" size="8"') == 4
    assert 'class="figures"' not in shown


@pytest.mark.parametrize("typed", ["0", "", " ", "-0.0"])
def test_no_change_is_said_to_be_none(desk: Desk, typed: str) -> None:
    shown = ask(desk, build="B", loft=typed).text
    assert "Nothing is changed: write a number other than 0" in shown
    assert 'class="figures"' not in shown
    assert "aria-invalid" not in shown


@pytest.mark.parametrize(
    "typed", ["steep", "nan", "inf", "1e9", "1,5", "15.1", "-15.01", "--1", "+", ".", "1 2", "٣", "9" * 500, "<b>"]
)
def test_what_cannot_be_worked_out_is_marked_at_its_field(desk: Desk, typed: str) -> None:
    shown = ask(desk, build="B", loft=typed, attack="2").text
    assert shown.count('aria-invalid="true"') == 1
    field = re.search(
        r'<input id="if-loft"[^>]*aria-describedby="if-loft-hint if-loft-fault" aria-invalid="true">', shown
    )
    assert field
    fault = re.search(r'id="if-loft-fault"><bdi>(.*?)</bdi>', shown)
    assert fault
    assert unescape(fault[1]) == (
        f"“{typed[:20]}” cannot be worked out. Write a number from −15 to 15, decimals with a dot, such as -1."
    )
    assert 'name="attack" value="2"' in shown
    assert "Nothing was worked out" in shown
    assert 'class="figures"' not in shown
    assert "<b>" not in shown


@pytest.mark.parametrize(
    ("units", "name", "most", "beyond"),
    [
        ("yards", "club-speed", "33", "33.1"),
        ("metres", "club-speed", "54", "54.1"),
        ("yards", "strike", "0.3", "0.31"),
        ("yards", "attack", "-15", "-15.1"),
    ],
)
def test_the_range_that_is_named_is_the_one_that_holds(
    desk: Desk, units: str, name: str, most: str, beyond: str
) -> None:
    desk.room.settings = settings.load(f'units_shown = "{units}"')
    end = most.removeprefix("-")
    assert f"−{end} to {end}" in ask(desk, build="B").text
    assert "aria-invalid" not in ask(desk, build="B", **{name: most}).text
    assert f"Write a number from −{end} to {end}" in ask(desk, build="B", **{name: beyond}).text


@pytest.mark.parametrize("build", ["", "Z", "b", "<script>"])
def test_a_club_there_is_not_is_asked_for(desk: Desk, build: str) -> None:
    shown = ask(desk, build=build, loft="1").text
    assert 'aria-describedby="if-build-fault"' in shown
    assert "Choose one of the clubs in the list." in shown
    assert "<script>" not in shown
    assert 'class="figures"' not in shown


def test_what_the_columns_do_not_tell_is_said(desk: Desk) -> None:
    document = json.loads(file_of(desk).read_bytes())
    for shot in document["shots"]:
        shot["measured"].pop("attack_angle_deg", None)
    file_of(desk).write_text(json.dumps(document))
    shown = ask(desk, build="B", loft="1").text
    assert "B Driver 2: its shots have no attack angle, and without it nobody can say what another loft does." in shown
    assert len(rows(ask(desk, build="B", **{"club-speed": "1"}).text)) == 7


def test_asking_changes_nothing(desk: Desk) -> None:
    def state() -> object:
        root = desk.bench.studio.root
        files = {path: path.read_bytes() for path in root.rglob("*") if path.is_file() and "ledger" not in path.name}
        return files, desk.room.ledger.tally()

    before = state()
    page(desk, build="B", loft="1")
    ask(desk, build="B", loft="1")
    assert state() == before


def test_nobody_asks_from_outside(desk: Desk) -> None:
    desk.client.cookies.clear()
    assert ask(desk, build="B", loft="1").status_code == 401


# --- spoilt files -----------------------------------------------------------------------------------------------------
def test_names_with_markup_are_text(desk: Desk) -> None:
    spoil(desk, ("sets", 2, "label"), "</select><img src=x onerror=alert(1)>")
    spoil(desk, ("sets", 1, "phase"), '"><script>alert(1)</script>')
    shown = page(desk, build="C", loft="1")
    assert "<img src=x" not in shown
    assert "<script>" not in shown
    assert shown.count("</select>") == shown.count("<select")
    assert "C &lt;/select&gt;&lt;img" in shown


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("comparison", 0, "verdict"), "sure"),
        (("levers", "from_own", 1, "tier"), "guessed"),
        (("levers", "from_own", 1, "carry", "levers", 0, "lever"), "luck"),
        (("comparison", 0, "low"), 1e300),
        (("air", "altitude_m"), 90_000),
        (("air", "drag_multiplier"), "thick"),
        (("shots", 3, "measured", "ball_speed_mps"), 1e300),
        (("sets", 2, "build", "category"), []),
        (("outlook", 0, "room", "levers"), [7]),
        (("answer",), None),
    ],
)
def test_an_edited_file_is_called_damaged_and_the_page_goes_on(
    desk: Desk, path: tuple[str | int, ...], value: object
) -> None:
    spoil(desk, path, value)
    shown = page(desk, build="C", loft="1")
    assert "fitting.json beside the report: it is damaged" in shown
    assert "Make the report anew." in shown
    assert 'class="figures"' not in shown


@pytest.mark.parametrize("content", [b"", b"[]", b"{}", b"\xff\xfe", b"[" * 100_000, b'{"schema": 1}'])
def test_a_file_that_is_none_is_said_so_on_page_and_in_part(desk: Desk, content: bytes) -> None:
    file_of(desk).write_bytes(content)
    assert "fitting.json beside the report: it is damaged" in page(desk)
    answer = ask(desk, build="B", loft="1")
    assert (answer.status_code, "it is damaged" in answer.text) == (500, True)


def test_a_huge_file_and_a_pipe_are_not_read(desk: Desk) -> None:
    os.truncate(file_of(desk), 5_000_001)
    assert "fitting.json beside the report: it has more than 5 MB" in page(desk)
    os.truncate(file_of(desk), 3_000_000_000)  # a hole: it takes no room on the disk, but would in memory
    assert "it has more than 5 MB" in page(desk)
    file_of(desk).unlink()
    os.mkfifo(file_of(desk))
    assert "it is no file, so it is none of this program&#39;s" in page(desk)


def test_a_file_that_is_gone_takes_the_step_with_it(desk: Desk) -> None:
    file_of(desk).unlink()
    assert 'id="levers"' not in page(desk)


def test_at_most_so_many_bytes_are_read(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"12345")
    assert studio.read_plain(tmp_path / "a", 5) == b"12345"
    with pytest.raises(ValueError, match="it has more than"):
        studio.read_plain(tmp_path / "a", 4)


def test_every_field_has_its_label_and_the_answer_is_announced(desk: Desk) -> None:
    shown: Any = page(desk, build="B", loft="x")
    fields = re.findall(r'<(?:input|select) id="(if-[a-z-]+)"', shown)
    assert len(fields) == 5
    assert all(f'<label for="{name}">' in shown for name in fields)
    assert set(re.findall(r'aria-describedby="(if-[^"]+)"', shown)) == {
        *(f"if-{name}-hint" for name in ("attack", "club-speed", "strike")), "if-loft-hint if-loft-fault",
    }  # fmt: skip
    assert '<div role="status"><div id="what-if-answer">' in shown
