"""`baywright answer`: a held file is answered once, and every held file of its layout gets its report."""

from pathlib import Path

import pytest

from pipeline import studio as studio_module
from pipeline.cli import main
from pipeline.studio import Studio, lock

ROWS = "".join(f"Own driver,{140 + i % 3},{230 + i}\n" for i in range(6))
CONTENT = f"Club,Ball speed,Carry\n{ROWS}"


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    """A studio with two held files of one layout and one of another."""
    made = studio_module.create(tmp_path / "studio")
    (made.inbox / "tuesday.csv").write_text(CONTENT, encoding="utf-8")
    (made.inbox / "wednesday.csv").write_text(CONTENT + "Own driver,141,240\n", encoding="utf-8")
    (made.inbox / "other.csv").write_text(CONTENT.replace("Carry", "Total"), encoding="utf-8")
    assert main(["process", str(made.root)]) == 3
    return made


def reports(place: Studio) -> set[str]:
    return {path.name.split(" ", 1)[1] for path in place.outbox.iterdir()}


def test_one_answer_serves_every_held_file_of_the_layout(place: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    note = (place.set_back / "tuesday.csv.txt").read_text(encoding="utf-8")
    held = place.set_back / "tuesday.csv"
    assert f'baywright answer "{held.resolve()}" --unit "Ball speed=…" --unit "Carry=…"' in note
    assert main(["answer", str(held), "--unit", "Ball speed=mph", "--unit", "Carry=yards", "--name", "bay 3"]) == 0
    assert reports(place) == {"tuesday", "wednesday"}
    assert {path.name for path in place.set_back.iterdir()} == {"other.csv", "other.csv.txt"}
    kept = (place.profiles / "bay 3.toml").read_text(encoding="utf-8")
    assert 'Carry = "yd"' in kept
    assert "6 shots can be used" in capsys.readouterr().out


def test_the_answer_holds_for_files_that_come_later(place: Studio) -> None:
    main(["answer", str(place.set_back / "tuesday.csv"), "--unit", "Ball speed=mph", "--unit", "Carry=yd"])
    (place.inbox / "thursday.csv").write_text(CONTENT.replace("230", "250"), encoding="utf-8")
    assert main(["process", str(place.root)]) == 0
    assert "thursday" in reports(place)


def test_half_an_answer_keeps_the_file_held(place: Studio) -> None:
    held = place.set_back / "tuesday.csv"
    assert main(["answer", str(held), "--unit", "Ball speed=mph"]) == 3
    assert reports(place) == set()
    assert "'Carry'" in (place.set_back / "tuesday.csv.txt").read_text(encoding="utf-8")
    assert main(["answer", str(held), "--unit", "Carry=yd"]) == 0
    assert reports(place) == {"tuesday", "wednesday"}


def test_a_profile_edited_by_hand_does_the_same(place: Studio) -> None:
    main(["answer", str(place.set_back / "tuesday.csv"), "--unit", "Ball speed=mph"])
    [profile] = place.profiles.iterdir()
    with profile.open("a", encoding="utf-8") as out:
        out.write('[units]\nlength = "m"\n')
    assert main(["process", str(place.root)]) == 3  # the other layout still waits
    assert reports(place) == {"tuesday", "wednesday"}


def test_a_broken_profile_is_told_and_stops_nothing(place: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    (place.profiles / "broken.toml").write_text("fingerprint = 'f'\nhands = 'left'\n", encoding="utf-8")
    (place.inbox / "good.csv").write_text(CONTENT.replace("Ball speed,Carry", "Ball speed (mph),Carry (yd)"), "utf-8")
    main(["process", str(place.root)])
    assert reports(place) == {"good"}
    assert "unknown key 'hands'. Did you mean 'hand'?" in capsys.readouterr().out


def test_while_a_watcher_runs_the_answer_is_left_to_it(place: Studio, capsys: pytest.CaptureFixture[str]) -> None:
    watcher = lock(place)
    try:
        done = main(["answer", str(place.set_back / "tuesday.csv"), "--unit", "Ball speed=mph", "--unit", "Carry=yd"])
    finally:
        watcher.release()
    assert done == 0
    assert "the running watcher takes the held files up by itself" in capsys.readouterr().out
    assert reports(place) == set()
    assert main(["process", str(place.root)]) == 3  # the other layout still waits
    assert reports(place) == {"tuesday", "wednesday"}


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["--unit", "Bal speed=mph"], 6, "no heading 'Bal speed'. Did you mean 'Ball speed'?"),
        (["--unit", "Carry=elbow"], 6, "a unit such as mph"),
        (["--unit", "Carry"], 6, "write HEADING=ANSWER"),
        (["--column", "Carry=carrry_m"], 6, "Did you mean 'carry_m'?"),
        ([], 6, "nothing was answered"),
    ],
)
def test_a_wrong_answer_is_refused_in_plain_words(
    place: Studio, capsys: pytest.CaptureFixture[str], words: list[str], code: int, says: str
) -> None:
    assert main(["answer", str(place.set_back / "tuesday.csv"), *words]) == code
    assert says in capsys.readouterr().err
    assert list(place.profiles.iterdir()) == []


def test_a_file_outside_a_studio_has_nobody_to_answer_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.csv").write_text(CONTENT, encoding="utf-8")
    assert main(["answer", str(tmp_path / "a.csv"), "--hand", "left"]) == 7
    assert "does not lie in a studio folder" in capsys.readouterr().err


def test_staff_are_told_of_a_device_far_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = studio_module.create(tmp_path / "studio")
    head = "Club,Ball speed (mph),Launch angle (deg),Spin rate (rpm),Carry (yd)\n"
    rows = "".join(f"Own driver,{140 + i},12,2700,{150 + i}\n" for i in range(6))
    (made.inbox / "short.csv").write_text(head + rows, encoding="utf-8")
    assert main(["process", str(made.root)]) == 0
    said = capsys.readouterr().out
    assert "short.csv: carry reads" in said
    assert "% below the flight model (6 shots): check the device's units, air and calibration" in said
