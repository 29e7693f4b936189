"""How clubs do, on the desk: filters, downloads, alarms; the same as `baywright models` says."""

import io
import json
from collections.abc import Iterator

import openpyxl  # type: ignore[import-untyped]
import pytest

from pipeline import archive
from pipeline.archive import DRIFTING
from pipeline.rollup_records import ArchiveManifest
from tests.conftest import Bench
from tests.desk import Desk, desk_on
from tests.test_models_command import invented


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> ArchiveManifest:
    return invented(tmp_path_factory.mktemp("archive"))


@pytest.fixture
def empty(bench: Bench) -> Iterator[Desk]:
    made = desk_on(bench)
    made.enter()
    yield made
    made.room.ledger.close()


@pytest.fixture
def desk(empty: Desk, kept: ArchiveManifest, monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.setattr(archive, "manifest", lambda *_: kept)
    return empty


def test_without_shots_the_page_says_from_when_there_are_some(empty: Desk) -> None:
    answer = empty.client.get("/clubs")
    assert answer.status_code == 200
    assert "No shots are kept yet." in answer.text
    assert "baywright process" not in answer.text
    assert "models.pdf" not in answer.text


def test_the_answer_stands_on_the_page_and_names_nobody(desk: Desk) -> None:
    page = desk.client.get("/clubs").text
    assert "Of 3 models compared: 1 likely farther" in page
    assert "Customers behind this: 12." in page
    assert "Oak" not in page


def test_filters_hold_for_the_page_and_every_download(desk: Desk) -> None:
    page = desk.client.get("/clubs?since=2026-02&until=2026-03&category=driver&by=loft&by=nonsense").text
    query = "since=2026-02&amp;until=2026-03&amp;category=driver&amp;by=loft"
    for name in ("page", "models.pdf", "models.xlsx", "models.csv"):
        assert f'href="/clubs/{name}?{query}"' in page
    assert 'name="since" value="2026-02"' in page
    assert 'name="by" value="loft" checked' in page
    assert "Customers behind this: 4." in page
    table = desk.client.get("/clubs/models.csv?since=2026-02&until=2026-03").text
    assert table != desk.client.get("/clubs/models.csv").text


@pytest.mark.parametrize(
    ("query", "code", "said"),
    [
        ("since=march", 422, "“march” is no month such as 2026-03."),
        ("since=2026-13", 422, "is no month"),
        ("since=2026-03&until=2026-01", 422, "no month is between them"),
        ("category=wedge", 200, "No shot that counts is kept for wedge. Kept are driver, from 2026-01"),
        ("since=2027-01", 200, "No shot that counts is kept since 2027-01. Kept are driver"),
        ("category=wedge&until=2025-01", 200, "No shot that counts is kept for wedge until 2025-01. Kept are driver"),
        ("category=%3Cscript%3E", 200, "kept for &lt;script&gt;."),
    ],
)
def test_what_cannot_be_shown_is_said(desk: Desk, query: str, code: int, said: str) -> None:
    answer = desk.client.get(f"/clubs?{query}")
    assert (answer.status_code, said in answer.text) == (code, True)
    assert "--" not in answer.text.split("<main")[1]
    assert desk.client.get(f"/clubs/models.csv?{query}").status_code == 422


def test_the_whole_page_is_itself_with_its_own_policy(desk: Desk) -> None:
    answer = desk.client.get("/clubs/page?category=driver")
    assert answer.status_code == 200
    assert "sha256-" in answer.text.split("</head>")[0]
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "form-action 'none'" in policy


def test_downloads_are_files_to_keep(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(desk.room.side, "draw", lambda html, name: f"%PDF {name} {len(html) > 1000}".encode())
    workbook = desk.client.get("/clubs/models.xlsx")
    assert 'filename="club-models-2026-01-to-2026-06.xlsx"' in workbook.headers["content-disposition"]
    narrow = desk.client.get("/clubs/models.csv?category=driver&since=2026-02&until=2026-02&by=loft&by=shaft")
    assert 'filename="club-models-driver-2026-02-by-loft-shaft.csv"' in narrow.headers["content-disposition"]
    assert openpyxl.load_workbook(io.BytesIO(workbook.content)).sheetnames
    assert desk.client.get("/clubs/models.csv").headers["content-type"] == "text/csv; charset=utf-8"
    pdf = desk.client.get("/clubs/models.pdf")
    assert (pdf.content, pdf.headers["content-type"]) == (b"%PDF models 2026-01 2026-06 True", "application/pdf")
    assert pdf.headers["content-disposition"].startswith("attachment")


@pytest.mark.parametrize("name", ["models.parquet", "models.", "x", "..%2fmodels.csv"])
def test_nothing_else_is_handed_out(desk: Desk, name: str) -> None:
    assert desk.client.get(f"/clubs/{name}").status_code == 404


def test_a_bay_that_drifts_stands_on_top(desk: Desk) -> None:
    assert "Look at these bays" not in desk.client.get("/clubs").text
    desk.room.ledger.changed(DRIFTING, json.dumps(["Bay 2 <b> reads longer."]))
    page = desk.client.get("/clubs").text
    assert page.index("Bay 2 &lt;b&gt; reads longer.") < page.index("Which visits and clubs")
