"""The page about one visit as a fitter uses it: clubs and shots in one form with one button, and a shot's picture."""

import json
import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from pipeline import studio
from pipeline.desk_facts import kept
from pipeline.desk_report import club_key, shot_key
from pipeline.records import Fitting
from tests import kept_report
from tests.conftest import Bench, InThisProcess, _files
from tests.desk import OWN_SCRIPTS, Desk, desk_on, entry, page, scripts
from tests.kept_report import SHOTS, shot

OWN, TWO = club_key("Driver 9.5°"), club_key("Nameless two")
KEYS = {number: shot_key("shots.csv", number + 1) for number in range(1, 7)}


def files(fitting: Fitting, settings: object, logo: object) -> dict[str, bytes]:
    """Make the files of the bench, with shots that have a fate; staff's word is put over it."""
    made = _files(fitting, settings, logo)
    plain = json.loads(made["fitting.json"])
    said = {word.line: word for word in fitting.facts.overrules}
    shots = []
    for each in SHOTS:
        word = said.get(each["line"])
        over = {"decided_by": "staff", "code": "staff", "reason": word.reason} if word else {}
        shots.append({**each, **over, **({"fate": "counted" if word.counts else "mishit"} if word else {})})
    visit = {**plain["visit"], "own_club_from": "visit.toml" if fitting.facts.own_club else "first hit"}
    return {**made, "fitting.json": kept_report.content(*shots, visit=visit)}


def opened(bench: Bench) -> Desk:
    made = desk_on(bench)
    made.enter()
    bench.drop("aspen/shots.csv", "fine")
    bench.drop("aspen/visit.toml", 'customer = "Aspen"\nhand = "right"\n')
    made.go()
    return made


@pytest.fixture
def desk(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setattr("pipeline.visits.outputs.files", files)
    made = opened(bench)
    yield made
    made.room.ledger.close()


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """Give a desk for all tests that change nothing on it."""
    bench = Bench(studio.create(tmp_path_factory.mktemp("still") / "studio"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipeline.visits.session.fit", bench.fit)
        patch.setattr("pipeline.visits.outputs.files", files)
        patch.setattr("pipeline.workshop.SHARED", InThisProcess())
        made = opened(bench)
        yield made
        made.room.ledger.close()


def change(desk: Desk, mark: str = "", **fields: str) -> tuple[int, str]:
    """Send some fields of the form; those that are not sent stay."""
    one = entry(desk)
    named = {name.replace("__", "-"): value for name, value in fields.items()}
    answer = desk.post(f"/visit/{one.id}/facts", mark=mark or kept(desk.room.place, one).mark, **named)
    return answer.status_code, answer.text


def facts(desk: Desk) -> dict[str, Any]:
    return tomllib.loads(kept(desk.room.place, entry(desk)).content.decode())


def spoil(desk: Desk, **changes: object) -> None:
    """Change the report's fitting.json as somebody with an editor might."""
    path = desk.bench.studio.outbox / str(entry(desk).place) / "fitting.json"
    path.write_text(json.dumps({**json.loads(path.read_bytes()), **changes}))


def test_each_step_says_what_it_needs(still: Desk) -> None:
    found = page(still)
    needs = re.findall(r'<h2 id="(\w+)">[^<]*</h2>\n<p class="step( needs)?">(.*?)</p>', found)
    said = {step: (bool(open_), re.sub("<[^>]*>", "", words)) for step, open_, words in needs}
    assert said == {
        "who": (True, "Needs you: to which address does the letter go? "),
        "clubs": (
            True,
            (
                "Needs you: which is the customer&#39;s own club? what kind of club is “Nameless two”? "
                "The loft of 1 club is not known."
            ),
        ),
        "shots": (True, "Needs you: look at 1 shot unusual for the set. 4 of 6 balls count."),
        "words": (False, "Done. None yet; they may stay out."),
    }


def test_what_was_set_aside_comes_first_with_reason_and_who_decided(still: Desk) -> None:
    found = re.sub("<[^>]*>", " ", page(still)).replace("\xa0", " ")
    in_order = (
        "Ball speed 111.8 mph, far below this set&#39;s middle of 147.6 mph. Decided by comparison with the set.",
        "The spin was not read (0 rpm). Decided by the rules.",
        "unusually long for this set",
        "A clean strike. Staff said so.",
        "Driver 9.5° : 1 counts",
        "Nameless two : 1 counts",
    )
    places = [found.index(words) for words in in_order]
    assert places == sorted(places)
    assert "No flight can be drawn: nothing was read for spin." in found


def test_two_lofts_the_own_club_and_one_shot_take_one_button(desk: Desk) -> None:
    code, _ = change(
        desk, own_club=TWO, email="aspen@example.org", notes="Well hit.",
        **{f"loft_deg__{OWN}": "9.5", f"loft_deg__{TWO}": "10.5", f"category__{TWO}": "driver"},
        **{f"shot__{KEYS[4]}": "aside", f"why__{KEYS[4]}": "talked to"},
    )  # fmt: skip
    assert code == 303
    assert facts(desk) == {
        "customer": "Aspen", "hand": "right", "own_club": "Nameless two", "email": "aspen@example.org",
        "notes": "Well hit.",
        "build": [
            {"label": "Driver 9.5°", "loft_deg": 9.5},
            {"label": "Nameless two", "loft_deg": 10.5, "category": "driver"},
        ],
        "shot": [{"file": "shots.csv", "line": 5, "counts": False, "reason": "talked to"}],
    }  # fmt: skip
    found = page(desk)
    assert "Version 2 is made. The one before is kept." in found
    assert "Talked to. Staff said so." in found
    assert f'name="shot-{KEYS[4]}" value="aside" checked' in found
    assert f'name="own_club" value="{TWO}" checked' in found
    assert "what kind of club" not in found
    assert change(desk)[0] == 303
    assert "Nothing has changed: version 2 stands." in page(desk)


def test_all_that_is_wrong_is_said_on_top_and_at_its_field_and_nothing_typed_is_lost(still: Desk) -> None:
    before = kept(still.room.place, entry(still))
    code, found = change(
        still, email="nobody", notes="my words",
        **{f"loft_deg__{TWO}": "10,5", f"shot__{KEYS[4]}": "aside", f"shaft__{TWO}": "firm"},
    )  # fmt: skip
    assert (code, kept(still.room.place, entry(still))) == (422, before)
    assert "Nothing was kept yet: 3 fields need you" in found
    names = ["email", f"loft_deg-{TWO}", f"why-{KEYS[4]}"]
    assert re.findall(r'<li><a href="#([\w-]+)"><bdi>', found) == names
    for name in names:
        assert re.search(rf'id="{name}"[^>]*aria-invalid="true" aria-describedby="[^"]*{name}-fault"', found)
        assert f'id="{name}-fault"' in found
    for typed in ('value="nobody"', "my words", 'value="10,5"', 'value="firm"'):
        assert typed in found
    assert f'name="shot-{KEYS[4]}" value="aside" checked' in found
    assert re.search(rf'<details class="club" open>(?:(?!</ul>).)*<details class="shot" open>(?:(?!</li>).)*{KEYS[4]}', found, re.DOTALL)  # fmt: skip  # noqa: E501
    assert "Kept now" not in found


def test_of_two_tabs_the_second_sees_what_the_first_did_and_undoes_none_of_it(desk: Desk) -> None:
    mark = kept(desk.room.place, entry(desk)).mark
    before = {f"loft_deg__{TWO}": "", f"shot__{KEYS[1]}": "rule", f"why__{KEYS[1]}": ""}
    first = {f"loft_deg__{TWO}": "9", f"shot__{KEYS[1]}": "aside", f"why__{KEYS[1]}": "phone rang"}
    assert change(desk, mark, own_club=OWN, **{f"loft_deg__{OWN}": "9", **first})[0] == 303
    second = {f"loft_deg__{OWN}": "10", f"shot__{KEYS[3]}": "counts", f"why__{KEYS[3]}": "seen"}
    code, found = change(desk, mark, own_club=TWO, **before, **second)
    assert code == 409
    assert "Somebody changed this visit while you were at it" in found
    assert re.findall(r"Kept now: (?:<bdi>)?([^<]*)<", found) == [
        "Driver 9.5°", "9", "as the rules say", "nothing",
    ]  # fmt: skip
    assert f'id="loft_deg-{OWN}" name="loft_deg-{OWN}" value="10"' in found
    assert f'name="loft_deg-{TWO}" value="9"' in found
    assert 'value="phone rang"' in found
    fields = dict(re.findall(r'name="((?:loft_deg|why)-[^"]*)" value="([^"]*)"', found))
    fields |= dict(re.findall(r'name="((?:shot-|own_)[^"]*)" value="([^"]*)" checked', found))
    newest = found.split('name="mark" value="')[1].split('"')[0]
    assert change(desk, newest, **{name.replace("-", "__", 1): value for name, value in fields.items()})[0] == 303
    now = facts(desk)
    assert [(one["label"], one["loft_deg"]) for one in now["build"]] == [("Driver 9.5°", 10.0), ("Nameless two", 9.0)]
    assert [(one["line"], one["counts"]) for one in now["shot"]] == [(2, False), (4, True)]
    assert now["own_club"] == "Nameless two"


def test_the_button_pressed_twice_is_no_conflict(desk: Desk) -> None:
    mark = kept(desk.room.place, entry(desk)).mark
    typed = {
        "notes": " Well hit.\r\n",
        f"loft_deg__{TWO}": "10.50",
        f"shot__{KEYS[1]}": "aside",
        f"why__{KEYS[1]}": "a  b",
    }
    for said in ("Version 2 is made.", "All of that is kept already"):
        assert change(desk, mark, **typed)[0] == 303
        assert said in page(desk)
    assert change(desk, mark, **typed, email="a@example.org")[0] == 409
    assert change(desk, mark, **{**typed, f"loft_deg__{TWO}": "x"})[0] == 409


@pytest.mark.parametrize("mark", ["x", "../outside", "0" * 64, "A" * 64])
def test_of_facts_nobody_kept_all_that_was_sent_stands(still: Desk, mark: str) -> None:
    (still.bench.studio.accepted.parent / "outside.toml").write_text('hand = "left"\n')
    code, found = change(still, mark, customer="Aspen", hand="left")
    assert code == 409
    assert 'value="left" checked' in found
    assert "Kept now: <bdi>right</bdi>" in found


def test_a_field_about_a_club_or_shot_that_is_not_there_is_no_word_on_another(still: Desk) -> None:
    for name in (f"loft_deg__{club_key('gone')}", f"shot__{shot_key('gone.csv', 3)}"):
        code, found = change(still, customer="Someone", **{name: "9"})
        assert (code, "Somebody changed this visit" in found) == (409, True)
    assert facts(still)["customer"] == "Aspen"


def test_an_own_club_nobody_hit_is_said_and_stays(desk: Desk) -> None:
    path = desk.bench.drop("aspen/visit.toml", 'customer = "Aspen"\nown_club = "Left <at> home"\n')
    desk.go()
    newest = desk.room.ledger.newest(("reported",), 0, 1)[0][0]
    found = desk.client.get(f"/visit/{newest.id}").text
    assert "the own club that was named is none of this visit&#39;s: which is it?" in found
    assert 'name="own_club" value="other" checked> <bdi>Left &lt;at&gt; home</bdi>' in found
    assert path.exists()


def test_when_the_reports_file_is_damaged_all_else_works(desk: Desk) -> None:
    spoil(desk, sets=None)
    found = page(desk)
    assert found.count("(fitting.json) is damaged") == 2
    assert "loft_deg-" not in found
    assert change(desk, customer="Aspen Two", **{f"loft_deg__{OWN}": "9"})[0] == 409
    assert change(desk, customer="Aspen Two")[0] == 303
    assert facts(desk) == {"customer": "Aspen Two", "hand": "right"}
    assert "(fitting.json) is damaged" not in page(desk)


def test_a_report_of_many_shots_goes_through_and_hostile_names_are_text(desk: Desk) -> None:
    many = [shot(number, "A" if number % 2 else "B", file='"><script>.csv') for number in range(1, 301)]
    sets = [{"letter": one, "label": f"<b>{one}</b>'\"", "phase": "<i>", "own_club": False} for one in "AB"]
    spoil(desk, shots=many, sets=sets)
    found = page(desk)
    assert scripts(found) == OWN_SCRIPTS
    assert "<b>A" not in found
    names = re.findall(r'name="((?:shot|why)-[\w-]+)"(?: value="rule" checked| value="")', found)
    assert len(names) == 600
    fields = {name.replace("-", "__", 1): "rule" if name.startswith("shot") else "" for name in names}
    assert change(desk, **fields)[0] == 303


def test_the_picture_of_a_shot_says_its_numbers(still: Desk) -> None:
    at = f"/visit/{entry(still).id}/flight"
    answer = still.client.get(f"{at}/{KEYS[1]}.svg")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/svg+xml")
    assert answer.text.split("<title>")[1].split("</title>")[0].replace("\xa0", " ") == (
        "Flight of shot 1, Driver 9.5°, from the side and from above: club speed 100.7 mph, ball speed 147.6 mph, "
        "launch 12.0°, spin 2600 rpm, carry 224 yd, top of flight 92 ft, side 7 yd right. "
        "Thin lines: the others with this club that count, 1."
    )
    assert f'src="{at}/{KEYS[1]}.svg" loading="lazy"' in page(still)
    assert "No flight can be worked out" in still.client.get(f"{at}/{KEYS[6]}.svg").text
    assert still.client.get(f"{at}/{shot_key('shots.csv', 99)}.svg").status_code == 404
    assert still.client.get(f"{at}/..%2f{KEYS[1]}.svg").status_code == 404


def test_a_link_out_of_the_studio_is_not_read(desk: Desk) -> None:
    path = desk.bench.studio.outbox / str(entry(desk).place) / "fitting.json"
    outside = desk.bench.studio.root.parent / "elsewhere.json"
    outside.write_bytes(path.read_bytes())
    path.unlink()
    path.symlink_to(outside)
    assert "(fitting.json) is damaged" in page(desk)
    assert desk.client.get(f"/visit/{entry(desk).id}/flight/{KEYS[1]}.svg").status_code == 404
