"""The letter as a message: the report's own sentences, one address or none, the PDF unchanged, nothing smuggled in."""

import datetime as dt
import email
import unicodedata
from dataclasses import replace
from email import policy
from email.message import EmailMessage
from pathlib import Path

import hypothesis
import pytest
import tomli_w
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline import exports, issuing, letter, report, session, settings, wording
from pipeline.addresses import address
from pipeline.errors import LetterError, SettingsError
from pipeline.records import Fitting, Refusal, ShotFile, VisitFacts

EXAMPLE = Path(__file__).resolve().parent.parent / "inbox_example" / "customer 0311 driver.csv"
PDF = b"%PDF-1.7 \x00\xff\r\n.\r\n--=_\r\n%%EOF\n" * 40
STUDIO = settings.load(
    'name = "Example studio"\nmail_from = "desk@studio.example"\nmail_reply_to = "ask@studio.example"'
)
NOON = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
HEADERS = [
    "From", "Reply-To", "To", "Subject", "Date", "Message-ID", "X-Unsent", "X-Baywright-Words", "MIME-Version",
    "Content-Type",
]  # fmt: skip
HOSTILE = [
    "x\r\nBcc: thief@example.org", "x\nBcc: thief@example.org\n\nbody", "a@b.example, thief@example.org", "\u202ea",
    '“,;:<>()[]@\\".', "=?utf-8?q?a=0ABcc:_thief@example.org?=", "=?utf-8?b?Cg==?= é", "Mühle, J; <thief@example.org>",
    "é" * 300, "a" * 300, "é, b " * 30, "\ud800", "\x00\x1b[2J", "名前" * 40, "e\u0301" * 90, "a\u2028Bcc: b@c.example",
    "", " ", ".",
]  # fmt: skip
names = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=90), st.text("é,b\"' <>@\r\n\\.()=?_", max_size=90))
emails = st.one_of(names, st.emails(), st.tuples(names, st.sampled_from("@,\n ")).map("".join))


@pytest.fixture(scope="module")
def fitting() -> Fitting:
    """Work out the example's smallest visit."""
    files = [ShotFile(EXAMPLE.name, EXAMPLE.read_bytes())]
    facts = VisitFacts(customer="Customer 0311", email="customer@example.org")
    made = session.fit("customer 0311", files, facts, STUDIO, NOON.date(), issuing.visit_id(files))
    assert not isinstance(made, Refusal)
    return replace(made, date=NOON.date())


def parsed(content: bytes) -> EmailMessage:
    return email.message_from_bytes(content, policy=policy.default)


# --- what it says -----------------------------------------------------------------------------------------------------
def test_it_says_what_the_report_says_and_carries_it(fitting: Fitting) -> None:
    found = parsed(letter.draft(fitting, STUDIO, PDF).as_bytes())
    assert found.keys() == HEADERS
    assert found["From"] == "Example studio <desk@studio.example>"
    assert found["Reply-To"] == "ask@studio.example"
    assert found["To"] == "customer@example.org"
    assert found["Subject"] == "Your fitting report, 25 November 2026"
    assert found["Date"].datetime == NOON
    assert found["X-Unsent"] == "1"
    body = found.get_body()
    assert body is not None
    lines = [line for line in body.get_content().splitlines() if line]
    page = wording.page_of(fitting, STUDIO)
    facts = wording.facts(page)
    assert lines == [
        "Hello,",
        "your fitting report of 25 November 2026 is attached. In short:",
        f"{wording.lead(page, facts)} {wording.under(page, facts)}",
        f"What we suggest: {' '.join(wording.suggestions(page, facts))}",
        "The report says how this was measured, how sure it is, and what to mind.",
        "If anything is unclear, please ask us.",
        "Example studio",
    ]
    [pdf] = found.iter_attachments()
    assert (pdf.get_content_type(), pdf.get_filename()) == ("application/pdf", "Fitting-report-2026-11-25.pdf")
    assert pdf.get_content() == PDF


def test_a_studio_without_mail_settings_gets_a_draft_with_nobody_in_it(fitting: Fitting) -> None:
    found = parsed(letter.draft(replace(fitting, facts=VisitFacts()), settings.load(), PDF).as_bytes())
    assert found.keys() == [name for name in HEADERS if name not in ("From", "Reply-To", "To")]
    assert found["Message-ID"].endswith("@baywright.invalid>")


def test_what_a_customer_agreed_to_is_for_staff_alone(fitting: Fitting) -> None:
    agreed = replace(fitting, facts=replace(fitting.facts, consent="agreed-to-in-person"))
    made = [report.render(agreed, STUDIO, None), exports.fitting_json(agreed), exports.shots_csv(agreed)]
    assert not any("agreed-to" in text for text in made)
    assert letter.draft(agreed, STUDIO, PDF).as_bytes() == letter.draft(fitting, STUDIO, PDF).as_bytes()


@pytest.mark.parametrize(
    ("language", "head"), [("en", "What your fitter recommends"), ("de", "Was Ihr Fitter empfiehlt")]
)
def test_the_fitters_own_recommendation_stands_before_the_programs(fitting: Fitting, language: str, head: str) -> None:
    studio = replace(STUDIO, language=language)
    said = replace(fitting, facts=replace(fitting.facts, recommendation="Take <Driver 2>,\nhalf an inch shorter."))
    page, text = report.render(said, studio), letter.read(letter.draft(said, studio, PDF).as_bytes(), "id").text
    assert f'<h2>{head}</h2><p class="notes">Take &lt;Driver 2&gt;,\nhalf an inch shorter.</p>' in page
    assert page.index(head) < page.index('<ol class="next">')
    assert f"\n\n{head}: Take <Driver 2>, half an inch shorter.\n\n" in text
    assert "Take <" not in exports.fitting_json(said)
    for nothing in ("", " \n"):
        without = replace(fitting, facts=replace(fitting.facts, recommendation=nothing))
        assert report.render(without, studio) == report.render(fitting, studio)
        assert letter.draft(without, studio, PDF).as_bytes() == letter.draft(fitting, studio, PDF).as_bytes()


def test_words_of_staff_are_told_from_the_programs(fitting: Fitting) -> None:
    content = letter.draft(fitting, STUDIO, PDF).as_bytes()
    found = letter.read(content, "id")
    assert (bool(found.written), found.reworded) == (True, False)
    other = letter.reworded(content, "id", found.subject, f"{found.text}PS", STUDIO)
    assert letter.read(other, "id").reworded
    assert not letter.read(letter.reworded(other, "id", found.subject, found.text, STUDIO), "id").reworded
    undated = b"\r\n".join(line for line in content.split(b"\r\n") if not line.startswith(b"Date:"))
    assert parsed(letter.reworded(undated, "id", "S", "T", STUDIO))["Date"].datetime.year == 1970


@hypothesis.settings(max_examples=25)
@given(subject=names, text=names)
@example(subject="=?utf-8?q?a=0ABcc:_thief@example.org?=", text="x\r\nBcc: thief@example.org")
@example(subject="==?utf-8?b?CkJjYzogYUBiLmM=?==?utf-8?b?Cg==?=", text=".")
def test_no_words_of_staff_smuggle_anything_in(subject: str, text: str) -> None:
    plain = letter.Letter("id", "customer@example.org", "S", "T\n", PDF, "r.pdf", "0123456789abcdef")
    content = letter.message(plain, STUDIO, NOON, unsent=True).as_bytes()
    found = parsed(letter.reworded(content, "id", subject, text, STUDIO))
    assert found.keys() == HEADERS
    assert [part.get_content_type() for part in found.walk()] == ["multipart/mixed", "text/plain", "application/pdf"]
    assert found["To"] == "customer@example.org"
    [pdf] = found.iter_attachments()
    assert pdf.get_content() == PDF


def test_its_bytes_change_only_with_what_is_in_it(fitting: Fitting) -> None:
    first = letter.draft(fitting, STUDIO, PDF)
    assert letter.draft(fitting, STUDIO, PDF).as_bytes() == first.as_bytes()
    marks = {first["Message-ID"], letter.draft(fitting, STUDIO, PDF + b"\n")["Message-ID"]}
    marks.add(letter.draft(replace(fitting, visit_id="other"), STUDIO, PDF)["Message-ID"])
    assert len(marks) == 3


def test_every_line_keeps_to_what_mail_allows(fitting: Fitting) -> None:
    content = letter.draft(fitting, STUDIO, PDF).as_bytes()
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in content.split(b"\r\n")) <= 78
    assert content.isascii()


def test_the_message_to_be_sent_is_no_draft(fitting: Fitting) -> None:
    later = NOON + dt.timedelta(days=3)
    made = letter.message(letter.write(fitting, STUDIO, PDF), STUDIO, later, unsent=False)
    assert made["X-Unsent"] is None
    assert made["Date"].datetime == later
    assert made["Message-ID"] == letter.draft(fitting, STUDIO, PDF)["Message-ID"]


# --- hostile names and addresses --------------------------------------------------------------------------------------
@given(customer=names, given_address=emails, studio=names, line=names)
@example(customer='Bad, "Name"', given_address="a@b.example\r\nBcc: c@d.example", studio="\r\n\r\n", line=".\r\n.\r\n")
def test_nothing_can_be_smuggled_in(
    fitting: Fitting, customer: str, given_address: str, studio: str, line: str
) -> None:
    hostile = replace(fitting, facts=VisitFacts(customer=customer, email=given_address))
    chosen = replace(STUDIO, name=studio, address_line=line)
    made = letter.draft(hostile, chosen, PDF)
    found = parsed(made.as_bytes())
    assert made.as_bytes() == letter.draft(hostile, chosen, PDF).as_bytes()
    plain = address(given_address)
    assert found.keys() == [name for name in HEADERS if name != "To" or plain]
    assert not found.defects
    if plain:
        assert found["To"] == plain
    [sender] = found["From"].addresses
    assert sender.addr_spec == "desk@studio.example"
    assert harmless(sender.display_name)
    assert len(sender.display_name.replace(" ", "")) <= letter.LONGEST_NAME
    body = found.get_body()
    assert body is not None
    assert harmless(body.get_content().replace("\r\n", ""))
    [pdf] = found.iter_attachments()
    assert pdf.get_content() == PDF
    assert letter.read(made.as_bytes(), fitting.visit_id) == letter.write(hostile, chosen, PDF)


def harmless(text: str) -> bool:
    return not any(unicodedata.category(c).startswith("C") or c in "\u2028\u2029" for c in text)


@given(label=names)
def test_a_club_named_to_deceive_stays_on_its_line(fitting: Fitting, label: str) -> None:
    sets = [replace(result, set=replace(result.set, label=label, phase="")) for result in fitting.sets]
    plain = letter.write(fitting, STUDIO, PDF).text
    assert letter.write(replace(fitting, sets=tuple(sets)), STUDIO, PDF).text.count("\n") == plain.count("\n")


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("customer@example.org", "customer@example.org"),
        (" Customer.One+golf@Mail.Example.ORG ", "Customer.One+golf@mail.example.org"),
        ("a@bücher.example", "a@xn--bcher-kva.example"),
    ],
)
def test_one_plain_address_is_taken(text: str, plain: str) -> None:
    assert address(text) == plain


@pytest.mark.parametrize(
    "bad",
    [
        "", "a", "a@b", "@b.cd", "a@", "a@@b.cd", "a@b.cd, d@e.fg", "a@b.cd;d@e.fg", "a@b.cd\r\nBcc: x@y.z",
        "a@b.cd\n", "<a@b.cd>", "Oak <a@b.cd>", '"a b"@c.de', "a b@c.de", ".a@b.cd", "a.@b.cd", "a..b@c.de", "a@-b.cd",
        "a@b-.cd", "a@b..cd", "a@.b.cd", "a@b.cd.", "a@[127.0.0.1]", "a@127.0.0.1", "x" * 65 + "@b.cd",
        "a@" + "b" * 64 + ".cd",
        "a@" + "b." * 130 + "cd", "grp: a@b.cd;", "a(x)@b.cd", "é@b.cd", "a@b_c.de", "a@straße.example", "a＠b.cd",
        "a@b。cd", "a@b\u202e.cd", "a\u200b@b.cd", "a@b\x00.cd", "a%0d%0a@b.cd\x00", "\ta@b.cd",
        "=?utf-8?q?a=0A=42cc=3A_b=40c.de?=@b.cd", "=?utf-8?q?x=40y.zz?=@b.cd",
    ],
)  # fmt: skip
def test_anything_else_is_left_out_and_said(fitting: Fitting, bad: str) -> None:
    assert address(bad) is None
    made = letter.draft(replace(fitting, facts=VisitFacts(email=bad)), STUDIO, PDF)
    assert made["To"] is None
    assert bool(letter.address_note(bad)) == bool(bad)
    if bad:
        with pytest.raises(SettingsError, match="one plain e-mail address in quotes is wanted"):
            settings.load(tomli_w.dumps({"mail_from": bad}))


@given(emails)
def test_an_address_taken_reads_back_as_itself(text: str) -> None:
    plain = address(text)
    if plain:
        assert plain.isascii()
        assert plain.isprintable()
        assert address(plain) == plain
        message = EmailMessage(policy=policy.SMTP)
        message["To"] = plain
        assert [each.addr_spec for each in message["To"].addresses] == [plain]


def test_a_right_address_needs_no_note() -> None:
    assert letter.address_note("customer@example.org") == ""
    assert letter.address_note(None) == ""


@pytest.mark.parametrize("key", ["mail_from", "mail_reply_to"])
def test_a_wrong_address_in_the_settings_is_named_with_its_line(key: str) -> None:
    with pytest.raises(
        SettingsError, match=rf'line 2: {key} = "desk" is not right: one plain e-mail address in quotes'
    ):
        settings.load(f'\n{key} = "desk"')


# --- read back --------------------------------------------------------------------------------------------------------
def changed(fitting: Fitting, old: bytes, new: bytes) -> bytes:
    content = letter.draft(fitting, STUDIO, PDF).as_bytes()
    assert content.count(old) == 1
    return content.replace(old, new)


def test_what_staff_change_in_the_draft_is_what_the_letter_says(fitting: Fitting) -> None:
    made = letter.write(fitting, STUDIO, PDF)
    assert letter.read(letter.draft(fitting, STUDIO, PDF).as_bytes(), fitting.visit_id) == made
    content = changed(fitting, b"customer@example.org", b"Anyone <new@example.org>")
    content = content.replace(b"Hello,", b"Dear =C3=84nne\x00,").replace(b"Subject: Your", b"Subject: Our")
    again = letter.read(content.replace(b"\r\n", b"\n"), fitting.visit_id)
    assert again.to == "new@example.org"
    assert again.subject == "Our fitting report, 25 November 2026"
    assert again.text.startswith("Dear Änne ,\n")
    assert again.pdf == PDF


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"To: customer@example.org", b"To: a@b.cd, e@f.gh", "its To line is not one plain address"),
        (b"To: customer@example.org", b"To: nobody", "its To line is not one plain address"),
        (b"\r\nTo: ", b"\r\nTo: <a@b.cd>\r\nTo: ", "it is to several people"),
        (b"X-Unsent: 1", b"Cc: a@b.cd", "it is to several people"),
        (b"X-Unsent: 1", b"Bcc: a@b.cd", "it is to several people"),
        (b"text/plain", b"text/html", "no longer one plain text with one PDF"),
        (b"application/pdf", b"application/zip", "no longer one plain text with one PDF"),
        (b"multipart/mixed", b"text/plain", "no longer one plain text with one PDF"),
        (b'charset="utf-8"', b'charset="no-such"', "it is damaged"),
    ],
)
def test_a_draft_changed_beyond_this_program_is_refused(fitting: Fitting, old: bytes, new: bytes, said: str) -> None:
    with pytest.raises(LetterError, match=f"letter.eml: {said}|{said}"):
        letter.read(changed(fitting, old, new), "id")


@given(st.binary(max_size=300), st.integers(0, 900))
def test_a_damaged_draft_is_refused_or_read_and_never_a_fault_of_ours(fitting: Fitting, junk: bytes, at: int) -> None:
    content = letter.draft(fitting, STUDIO, PDF).as_bytes()
    for damaged in (junk, content[:at] + junk + content[at:], content[:at] + junk, content[at:]):
        try:
            found = letter.read(damaged, "id")
        except LetterError:
            continue
        assert harmless(found.text.replace("\n", "") + found.subject)
        assert found.to == "" or address(found.to) == found.to


def test_settings_are_off_by_default() -> None:
    off = settings.load()
    assert (off.mail_from, off.smtp_host, off.smtp_user, off.smtp_password_file) == ("", "", "", "")
