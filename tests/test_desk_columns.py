"""The section “Columns left aside” of a visit's page: what staff say of a column nobody knows."""

import html
import json
from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from pipeline import answers, profiles, session
from pipeline.profiles import Profile, fingerprint
from pipeline.records import Given, Refusal
from pipeline.unknown_columns import Layout
from pipeline.work_messages import Job
from pipeline.workshop import StoppedError
from tests.conftest import Bench, InThisProcess
from tests.desk import Desk, desk_on, entry, page

HEAD = ("Club", "Carry (yd)", "Vo", "Zeta <b>")
SHOTS = ",".join(HEAD) + "\n" + "".join(f"Own,{230 + i % 4},{62 + i % 3}.5,{1200 + i}\n" for i in range(8))
FIT = session.fit


@pytest.fixture
def desk(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    used: list[Mapping[str, Given]] = []

    def fit(*given: Any, **more: Any) -> object:  # noqa: ANN401 - as the stand-in takes it
        used.append(given[6])
        return bench.fit(*given, **more)

    monkeypatch.setattr("pipeline.visits.session.fit", fit)
    made = desk_on(bench)
    made.enter()
    bench.drop("aspen.csv", SHOTS)
    made.go()
    made.used = used  # type: ignore[attr-defined]
    yield made
    made.room.ledger.close()


def key(desk: Desk, heading: str, number: int = 0) -> str:
    layout = desk.room.left_aside(entry(desk))[number]
    return next(layout.key(column) for column in layout.columns if column.heading == heading)


def say(desk: Desk, **chosen: str) -> tuple[int, str]:
    answer = desk.post(f"/visit/{entry(desk).id}/columns", **chosen)
    return answer.status_code, answer.text


def kept(desk: Desk) -> list[str]:
    return sorted(path.name for path in desk.room.place.profiles.glob("*.toml"))


def test_the_page_lists_columns_nobody_knows_folded_up_and_nothing_when_all_are_known(desk: Desk) -> None:
    desk.bench.drop("birch.csv", SHOTS.replace("Vo", "Ball speed (m/s)").replace("Zeta <b>", "Spin"))
    desk.go()
    known, one = sorted(desk.room.ledger.entries("reported"), key=lambda found: found.name, reverse=True)
    assert "left aside (" not in desk.client.get(f"/visit/{known.id}").text
    found = desk.client.get(f"/visit/{one.id}").text
    section = found.split('<details id="columns">')[1].split("</details>")[0]
    assert "Columns left aside (2)" in section
    assert "What is “<bdi>Vo</bdi>”?" in section
    assert "What is “<bdi>Zeta &lt;b&gt;</bdi>”?" in section
    assert "<bdi>62.5</bdi>; <bdi>63.5</bdi>; <bdi>64.5</bdi>; <bdi>62.5</bdi>" in section
    assert '<optgroup label="ball speed (speed of the ball just after impact)">' in section
    assert '<option value="ball_speed_mps|m/s">ball speed, in m/s</option>' in section
    assert '<option value="total_m|yd">total, in yards</option>' in section
    assert section.index("leave it aside") < section.index("<optgroup")
    assert "carry_m" not in section


def test_what_is_said_of_a_column_is_tried_then_remembered_for_its_layout(desk: Desk) -> None:
    layout = fingerprint(HEAD)
    answers.save(desk.room.place.profiles, Profile("mine", layout, Given(units={"speed": "mph"}, date_order="dmy")))
    assert say(desk, **{key(desk, "Vo"): "ball_speed_mps|"})[0] == 303  # speeds are in mph, as was said once
    assert "remembered for every file with these headings" in page(desk)
    expected = Given(units={"speed": "mph"}, date_order="dmy", columns={"Vo": "ball_speed_mps"})
    assert desk.room.answers().by_layout[layout] == expected
    assert desk.used[-1][layout] == expected  # type: ignore[attr-defined]
    assert kept(desk) == ["mine.toml"]
    assert "Columns left aside (1)" in page(desk)
    assert desk.room.own
    assert desk.room.own.wake.is_set()


def test_version_two_has_what_the_column_says(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.visits.session.fit", FIT)
    answer = desk.post(f"/visit/{entry(desk).id}/columns", **{key(desk, "Vo"): "ball_speed_mps|m/s"})
    assert answer.headers["location"] == f"/visit/{entry(desk).id}"
    assert "Version 2 is made." in page(desk)
    folder = desk.room.place.outbox / str(entry(desk).place)
    measured = [shot["measured"] for shot in json.loads((folder / "fitting.json").read_bytes())["shots"]]
    assert sorted(one["ball_speed_mps"] for one in measured)[::7] == pytest.approx([62.5, 64.5])
    known = answers.load(desk.room.place.profiles / "aspen.toml")
    assert known == Profile(
        "aspen", fingerprint(HEAD), Given(columns={"Vo": "ball_speed_mps"}, column_units={"Vo": "m/s"})
    )
    filed = desk.room.ledger.archive.filed(entry(desk).id)
    assert len([row for row in filed if not row.gone]) == 1


def test_what_gives_no_report_is_said_at_the_field_and_not_kept(desk: Desk) -> None:
    fields = {key(desk, "Vo"): "ball_speed_mps|m/s", key(desk, "Zeta <b>"): "spin_rate_rpm|rpm"}
    for what, at in (("Nobody hits 'Vo' so fast.", ["Vo"]), ("No.", ["Vo", "Zeta <b>"])):
        desk.bench.answers[SHOTS] = Refusal("held", 3, what, "aspen.csv", "Say it otherwise.")
        code, said = say(desk, **fields)
        assert code == 422
        for heading in ("Vo", "Zeta <b>"):
            name = key(desk, heading)
            assert (f'id="{name}-fault"' in said) == (heading in at)
            assert (f'aria-invalid="true" aria-describedby="{name}-hint {name}-fault"' in said) == (heading in at)
        assert f"{what} Say it otherwise." in html.unescape(said)
        assert '<option value="ball_speed_mps|m/s" selected>' in said
        assert '<option value="spin_rate_rpm|rpm" selected>' in said
    assert kept(desk) == []


def test_nothing_is_kept_of_a_form_that_is_not_right(desk: Desk) -> None:
    vo, zeta = key(desk, "Vo"), key(desk, "Zeta <b>")
    worked = len(desk.bench.worked_out)
    for chosen, faults, words in (
        ({vo: "", zeta: ""}, 0, "Choose for at least one column what it is."),
        ({vo: "carry_m|yd"}, 1, "“Vo”: choose one from the list."),
        ({vo: "spin_rate_rpm|rpm", zeta: "spin_rate_rpm|rpm"}, 2, "only one column of a file can be the spin rate"),
    ):
        code, said = say(desk, **chosen)
        assert (code, words in said, said.count('aria-invalid="true"')) == (422, True, faults)
    assert kept(desk) == []
    assert len(desk.bench.worked_out) == worked


def test_of_two_tabs_the_second_hears_that_the_column_is_known(desk: Desk) -> None:
    name = key(desk, "Vo")
    assert say(desk, **{name: "ball_speed_mps|m/s"})[0] == 303
    code, said = say(desk, **{name: "club_speed_mps|mph"})
    assert (code, "has changed meanwhile" in said) == (409, True)
    assert "What is “<bdi>Zeta" in said
    assert desk.room.answers().by_layout[fingerprint(HEAD)].columns == {"Vo": "ball_speed_mps"}


def test_each_layout_of_a_visit_has_its_own_answer(desk: Desk) -> None:
    desk.bench.drop("both/a.csv", SHOTS + "Own,231,62,1\n")
    desk.bench.drop("both/b.csv", SHOTS.replace("Club", "Palo") + "Own,231,62,2\n")
    desk.go()
    both = next(one for one in desk.room.ledger.entries("reported") if one.name == "both")
    layouts = desk.room.left_aside(both)
    assert [layout.file for layout in layouts] == ["a.csv", "b.csv"]
    assert "Columns left aside (4)" in desk.client.get(f"/visit/{both.id}").text
    second = layouts[1]
    answer = desk.post(f"/visit/{both.id}/columns", **{second.key(second.columns[0]): "ball_speed_mps|m/s"})
    assert answer.status_code == 303
    assert list(desk.room.answers().by_layout) == [second.layout]
    assert kept(desk) == ["b.toml"]


def test_columns_are_read_once_for_each_state_of_the_answers_and_a_failure_costs_once(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    side = desk.room.side
    original = side.left_aside

    def left_aside(_self: object, job: Job) -> tuple[Layout, ...]:
        asked.append(job.name)
        if len(asked) > 1:
            why = "it took too long"
            raise StoppedError(why)
        return original(job)

    monkeypatch.setattr(InThisProcess, "left_aside", left_aside)
    for _ in range(2):
        assert "left aside (2)" in page(desk)
    assert asked == ["aspen"]
    answers.save(desk.room.place.profiles, profiles.Profile("x", "sha256:ab", Given(decimal=",")))
    for _ in range(2):
        assert "left aside (" not in page(desk)
    assert asked == ["aspen", "aspen"]


def test_the_form_needs_its_word_and_a_visit_with_a_report(desk: Desk) -> None:
    one = entry(desk)
    assert desk.post(f"/visit/{one.id}/columns", word="x").status_code == 403
    desk.bench.drop("bad.csv", "no table")
    desk.go()
    [bad] = desk.room.ledger.entries("set_back")
    assert desk.post(f"/visit/{bad.id}/columns", x="y").status_code == 409
    assert desk.post("/visit/nothing/columns").status_code == 404
