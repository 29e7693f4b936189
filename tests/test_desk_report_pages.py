"""A report looked at page by page at the desk: one version of it, whatever is made meanwhile."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import Bench
from tests.desk import Desk, desk_on
from tests.report.pdf_checks import blank

PNG = b"\x89PNG"


@pytest.fixture
def desk(bench: Bench) -> Iterator[Desk]:
    made = desk_on(bench)
    made.enter()
    bench.drop("<aspen>/shots.csv", "fine")
    bench.drop("<aspen>/visit.toml", 'customer = "Aspen"\n')
    made.go()
    (folder(made) / "report.pdf").write_bytes(blank((300, 400), (400, 300)))
    yield made
    made.room.ledger.close()


def folder(desk: Desk) -> Path:
    [made] = desk.bench.studio.outbox.iterdir()
    return made


def address(desk: Desk) -> str:
    [found] = desk.room.ledger.entries("reported")
    return f"/visit/{found.id}"


def test_each_page_has_its_picture_in_its_own_size(desk: Desk) -> None:
    shown = desk.client.get(f"{address(desk)}/pages").text
    assert "<h1>Report of <bdi>&lt;aspen&gt;</bdi>, version&nbsp;1</h1>" in shown
    first = f'<img src="{address(desk)}/page-1.png?version=1" width="600" height="800" alt="Page 1 of 2">'
    second = (
        f'<img src="{address(desk)}/page-2.png?version=1" width="800" height="600" alt="Page 2 of 2" loading="lazy">'
    )
    assert first in shown
    assert second in shown
    assert shown.count("<img") == 2
    answer = desk.client.get(f"{address(desk)}/page-2.png?version=1")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/png")
    assert answer.content.startswith(PNG)
    assert answer.content[16:24] == (800).to_bytes(4) + (600).to_bytes(4)
    assert answer.headers["cache-control"] == "no-store"


def test_a_version_stays_the_same_when_the_next_one_is_made(desk: Desk) -> None:
    before = desk.client.get(f"{address(desk)}/page-1.png?version=1").content
    [found] = desk.room.ledger.entries("reported")
    answer = desk.post(f"{address(desk)}/facts", customer="Aspen Two", mark=mark(desk))
    assert answer.status_code == 303
    (folder(desk) / "report.pdf").write_bytes(blank((500, 500)))
    assert desk.client.get(f"{address(desk)}/page-1.png?version=1").content == before
    assert desk.client.get(f"{address(desk)}/page-2.png?version=1").status_code == 200
    assert desk.client.get(f"{address(desk)}/page-2.png?version=2").status_code == 404
    newest = desk.client.get(f"{address(desk)}/pages").text
    assert "version&nbsp;2</h1>" in newest
    assert "page-1.png?version=2" in newest
    assert f'href="/visit/{found.id}/version-2.pdf"' in newest
    assert "version&nbsp;1</h1>" in desk.client.get(f"{address(desk)}/pages?version=1").text


def mark(desk: Desk) -> str:
    return desk.client.get(address(desk)).text.split('name="mark" value="')[1].split('"')[0]


@pytest.mark.parametrize(
    "rest",
    ["pages?version=2", "pages?version=x", "pages?version=²", "pages?version=../1", "page-0.png?version=1",
     "page-3.png?version=1", "page-1.png", "page-1.png?version=2", "page-x.png?version=1", "page--1.png?version=1",
     "page-99999999999999999999.png?version=1"],
)  # fmt: skip
def test_what_there_is_not_is_said(desk: Desk, rest: str) -> None:
    answer = desk.client.get(f"{address(desk)}/{rest}")
    assert answer.status_code == 404
    assert "There is no such" in answer.text


def test_a_pdf_nobody_can_draw_is_still_handed_out(desk: Desk) -> None:
    (folder(desk) / "report.pdf").write_bytes(b"%PDF-")
    shown = desk.client.get(f"{address(desk)}/pages").text
    assert '<p class="fault" role="alert">This report cannot be shown as pages. Open the PDF itself.</p>' in shown
    assert "<img" not in shown
    assert desk.client.get(f"{address(desk)}/version-1.pdf").content == b"%PDF-"


def test_a_link_out_of_the_studio_is_not_followed(desk: Desk) -> None:
    secret = desk.bench.studio.root.parent / "secret.pdf"
    secret.write_bytes(blank((300, 400)))
    (folder(desk) / "report.pdf").unlink()
    (folder(desk) / "report.pdf").symlink_to(secret)
    assert desk.client.get(f"{address(desk)}/pages").status_code == 404
    assert desk.client.get(f"{address(desk)}/page-1.png?version=1").status_code == 404
