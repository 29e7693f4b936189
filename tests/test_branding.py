"""The studio's logo and colour: what draws is taken, and whatever does more than draw is refused with its reason."""

import base64
import io
import re
import struct
import zlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline import branding, settings, studio
from pipeline.errors import SettingsError

ROOT = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 40 10" {more}>'
PLAIN = '<path d="M0 0 H40 V10 Z" fill="#0B5D3B"/>'


def svg(inside: str = PLAIN, more: str = "") -> bytes:
    return (ROOT.format(more=more) + inside + "</svg>").encode()


def png(size: tuple[int, int] = (40, 10), mode: str = "RGBA") -> bytes:
    out = io.BytesIO()
    Image.new(mode, size).save(out, "PNG")
    return out.getvalue()


# --- colour -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("colour", "ratio"),
    [("#000000", 21.0), ("#FFFFFF", 1.0), ("#767676", 4.54), ("#777777", 4.48), ("#0000ff", 8.59), ("#FF0000", 4.0)],
)
def test_contrast_is_that_of_the_guidelines(colour: str, ratio: float) -> None:
    """The values any contrast checker gives for these colours; #767676 is the palest grey that passes."""
    assert branding.contrast_on_white(colour) == pytest.approx(ratio, abs=0.005)


def test_a_pale_accent_is_refused_with_its_line_and_ratio_and_a_dark_one_taken() -> None:
    assert settings.load().accent == "#1E2730"
    assert settings.load('accent = "#767676"').accent == "#767676"
    said = (
        'studio.toml, line 2: accent = "#777777" is not right: its contrast on white paper is 4.47 : 1 '
        "and must be at least 4.5 : 1. Take a darker one."
    )
    with pytest.raises(SettingsError, match=re.escape(said)):
        settings.load('name = "A"\naccent = "#777777"')


@pytest.mark.parametrize(
    "colour", ['"red"', '"#123"', '"#12345G"', '"1E2730"', '"#1E2730; x"', '""', "123456", '"#1E2730\\n"']
)
def test_what_is_no_colour_is_refused(colour: str) -> None:
    with pytest.raises(
        SettingsError, match=r"line 1: (?s:accent = .*) is not right: a colour in quotes is wanted, such as"
    ):
        settings.load(f"accent = {colour}")


# --- taken ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("box", "size"),
    [
        ("0 0 40 10", (56.0, 14.0)),  # as tall as allowed
        ("0 0 100 10", (60.0, 6.0)),  # as wide as allowed
        ("-5,-5 , 7 7", (14.0, 14.0)),
        ("0 0 1 400000", (0.01, 14.0)),
        ("0 0 .5 1e9", None),
    ],
)
def test_an_svg_is_drawn_as_large_as_its_place_allows(box: str, size: tuple[float, float] | None) -> None:
    content = svg().replace(b"0 0 40 10", box.encode())
    if size is None:
        with pytest.raises(SettingsError, match="it does not say how large it is"):
            branding.checked(content, "logo.svg")
        return
    logo = branding.checked(content, "logo.svg")
    assert (logo.width_mm, logo.height_mm) == size
    assert base64.b64decode(logo.address.removeprefix("data:image/svg+xml;base64,")) == content


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA"])
def test_a_png_is_known_by_its_content_whatever_it_is_called(mode: str) -> None:
    content = png((4_000, 1_000), mode)
    logo = branding.checked(content, "logo.svg")
    assert (logo.kind, logo.width_mm, logo.height_mm) == ("png", 56.0, 14.0)
    assert logo.address.startswith("data:image/png;base64,iVBOR")


@pytest.mark.parametrize(
    "inside",
    [
        '<linearGradient id="g"><stop offset="0" stop-color="red"/></linearGradient><path fill="url(#g)"/>',
        '<g id="a"><circle r="3"/></g><use href="#a"/><use xlink:href="#a" x="3"/>',
        "<style>.a { fill: url( '#g' ) }</style>",
        "<title>ours</title><desc>drawn by hand</desc>",
        '<metadata><r:RDF xmlns:r="urn:r"><r:about resource="http://www.example.org/"/></r:RDF></metadata>',
        '<path xmlns:i="urn:i" i:export-filename="C:\\drawings\\a.png" d="M0 0"/>',
    ],
)
def test_what_drawing_programs_write_is_taken(inside: str) -> None:
    assert branding.checked(svg(inside), "LOGO.SVG").kind == "svg+xml"


# --- refused ----------------------------------------------------------------------------------------------------------
MANY = svg(
    '<g id="g0"><path/></g>' + "".join(f'<g id="g{i}">' + f'<use href="#g{i - 1}"/>' * 9 + "</g>" for i in range(1, 9))
)
OUTSIDE = "it points outside itself"
FAULTS = {
    b"": "it is damaged",
    svg("<script>alert(1)</script>"): "it holds a script",
    svg('<s:script xmlns:s="urn:other"/>'): "it holds a script",
    svg("<SCRIPT/>"): "it holds a script",
    svg(more='onload="alert(1)"'): r"it holds a script \(onload\)",
    svg("<foreignObject/>"): "it holds a foreignObject",
    svg('<image href="#a"/>'): "it holds a picture inside the picture",
    svg('<o:image xmlns:o="urn:other" href="#a"/>'): "it holds a picture inside the picture",
    svg('<svg viewBox="a b"/>'): "it holds a picture inside the picture",
    svg("<text>Studio</text>"): "it holds text, which needs a font: turn it into paths",
    svg('<metadata><o:text xmlns:o="urn:other">x</o:text></metadata>'): "it holds text",
    svg('<a href="#x"><path d="M0 0"/></a>'): "it holds a link",
    svg('<filter id="f"/>'): "it holds <filter>, which a report cannot draw",
    svg("<animate/>"): "it holds <animate>",
    svg('<use href="other.svg#a"/>'): OUTSIDE,
    svg('<use xlink:href="http://example.org/a.svg#a"/>'): OUTSIDE,
    svg('<use href="data:image/svg+xml,x"/>'): OUTSIDE,
    svg('<use href=""/>'): OUTSIDE,
    svg('<path fill="url(http://example.org/#a)"/>'): OUTSIDE,
    svg('<path fill="URL( &#39;a.svg#b&#39; )"/>'): OUTSIDE,
    svg('<path style="fill: url(//example.org)"/>'): OUTSIDE,
    svg('<path style="fill: u\\72l(//example.org)"/>'): OUTSIDE,
    svg("<style>path { fill: url(a.svg) }</style>"): OUTSIDE,
    svg("<style>path { fill: ur<!-- -->l(a.svg) }</style>"): OUTSIDE,
    svg("<style><![CDATA[path { fill: ur]]>l(a.svg) }</style>"): OUTSIDE,
    svg("<style>@import 'a.css';</style>"): "its style holds an @ rule",
    svg("<style>@font-face { src: x }</style>"): "its style holds an @ rule",
    svg(more='xml:base="http://example.org/"'): OUTSIDE,
    svg('<path fill="device-cmyk(0 1 0 0)"/>'): "it names a colour in another way than red, green and blue",
    svg("<style>path { fill: Lab(50 0 0) }</style>"): "it names a colour in another way",
    b"<!DOCTYPE svg>" + svg(): "it declares a document type",
    b'<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>' + svg("<desc>&b;</desc>"): "it declares a document type",
    b'<!DOCTYPE svg SYSTEM "file:///etc/passwd">' + svg(): "it declares a document type",
    b'<?xml-stylesheet href="a.css"?>' + svg(): "it has a processing instruction",
    svg("<?php echo 1 ?>"): "it has a processing instruction",
    b"<html/>": "it is no SVG picture",
    b'<svg viewBox="0 0 4 1"/>': "it is no SVG picture",
    svg().replace(b' viewBox="0 0 40 10"', b' width="4" height="1"'): "it does not say how large it is. Save it with",
    svg().replace(b"40 10", b"40 0"): "it does not say how large it is",
    svg().replace(b"40 10", b"nan 10"): "it does not say how large it is",
    svg().replace(b"0 0 40 10", b"40 10"): "it does not say how large it is",
    svg("<g>" * 100 + "</g>" * 100): "its elements lie deeper than 100",
    svg('<g id="a"><use href="#a"/></g>'): "parts of it repeat themselves or each other",
    svg('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'): "parts of it repeat themselves",
    svg('<clipPath id="a"><path clip-path="url(#a)"/></clipPath>'): "parts of it repeat themselves",
MANY: "it draws more than 20000 shapes",
    svg("<g>"): r"it is damaged \(mismatched tag",
    svg()[:-3]: "it is damaged",
    svg("&undefined;"): "it is damaged",
    svg("<path d='\x00'/>"): "it is damaged",
    b'<?xml version="1.0" encoding="no-such"?>' + svg(): "it is damaged",
    svg("<!--" + "x" * 200_000 + "-->"): "it is larger than 200 kB. Save it simpler",
    png()[:60]: "it is damaged. Save it anew",
    png()[:8]: "it is damaged",
    png((10, 10), "I;16"): "its colours are of a kind a report cannot draw. Save it with 8 bits a colour",
    png((4_001, 1), "L"): "it is 4001 × 1 pixels and may have 4000 a side",
    png((1, 4_001), "L"): "it is 1 × 4001 pixels",
    png() + bytes(1_000_000): "it is larger than 1 MB",
}  # fmt: skip


@pytest.mark.parametrize("content", FAULTS, ids=lambda content: FAULTS[content][:30])
def test_a_planted_fault_is_refused_with_file_reason_and_what_to_do(content: bytes) -> None:
    said = rf'a/logo\.svg: not used as logo: {FAULTS[content]}.*, or set logo = "" in studio\.toml\.$'
    with pytest.raises(SettingsError, match=said):
        branding.checked(content, "a/logo.svg")


def test_what_is_neither_is_refused() -> None:
    with pytest.raises(SettingsError, match="it is neither a PNG nor an SVG picture"):
        branding.checked(b"GIF89a", "logo.gif")


def test_a_png_with_a_wrong_checksum_is_damaged() -> None:
    content = bytearray(png())
    content[content.index(b"IDAT") + 8] ^= 0xFF
    with pytest.raises(SettingsError, match="it is damaged"):
        branding.checked(bytes(content), "logo.png")


def test_a_png_that_says_it_is_small_and_unpacks_to_much_is_not_unpacked() -> None:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 6, 0, 0, 0)
    content = (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(10_000))) + chunk(b"IEND", b"")
    )
    with pytest.raises(SettingsError, match="it is 100000 × 100000 pixels and may have 4000 a side"):
        branding.checked(content, "logo.png")


@given(st.binary(max_size=300), st.integers(0, 400), st.sampled_from([svg(), png()]))
def test_a_damaged_file_is_refused_or_drawn_and_never_a_fault_of_ours(junk: bytes, at: int, whole: bytes) -> None:
    for content in (junk, whole[:at] + junk + whole[at:], whole[:at] + junk, whole[at:]):
        try:
            logo = branding.checked(content, "logo.svg")
        except SettingsError:
            continue
        assert 0 < logo.width_mm <= branding.WIDEST_MM
        assert 0 < logo.height_mm <= branding.TALLEST_MM


# --- read -------------------------------------------------------------------------------------------------------------
def test_a_studio_reads_its_logo_from_its_own_folder(tmp_path: Path) -> None:
    made = studio.create(tmp_path)
    assert studio.logo(made, settings.load()) is None
    (tmp_path / "logo.svg").write_bytes(svg())
    assert studio.logo(made, settings.load('logo = "logo.svg"')) == branding.checked(svg(), "logo.svg")


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("none.svg", "there is no such file"),
        ("inbox", "there is no such file"),
        ("large.svg", "not used as logo: it is larger than 200 kB"),
    ],
)
def test_a_logo_that_cannot_be_read_is_a_setting_not_understood(tmp_path: Path, name: str, why: str) -> None:
    made = studio.create(tmp_path)
    with (tmp_path / "large.svg").open("wb") as out:
        out.truncate(50_000_000)
    with pytest.raises(SettingsError, match=why):
        studio.logo(made, settings.load(f'logo = "{name}"'))
