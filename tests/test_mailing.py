"""Sending a letter to a real server on this machine: encrypted or not at all, once or on purpose."""

import datetime as dt
import email
import os
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from email import policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from pipeline import letter, mailing, passwords, settings, studio
from pipeline.errors import FolderError, LetterError, SettingsError
from pipeline.ledger import Entry, Ledger
from pipeline.letter import Letter

pytestmark = pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")  # that is what is tried here
Run = Callable[..., tuple[int, str, str]]
USER, PASSWORD = "desk", "correct horse"
PDF = b"%PDF-1.7 invented\n%%EOF\n"
VISIT = "2026-11-25 customer 7"
LETTER = Letter("id-7", "customer@example.org", "Your fitting report", "Hello,\n.\nattached\n", PDF, "r.pdf")


# --- a mail server ----------------------------------------------------------------------------------------------------
@dataclass
class Server:
    """A mail server that keeps what it gets."""

    port: int
    tls: str  # starttls | tls | none
    certificate: trustme.LeafCert
    answer: str = "250 ok"
    got: list[Envelope] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    logins: list[LoginPassword] = field(default_factory=list)

    async def handle_DATA(self, _server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        if self.answer == "hang up":
            assert _server.transport is not None
            _server.transport.close()
            return ""
        self.encrypted.append(session.ssl is not None)
        self.names.append(str(session.host_name))
        if self.answer.startswith("250"):
            self.got.append(envelope)
        return self.answer

    async def handle_RCPT(  # noqa: N802
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        if self.answer.startswith("550 no such"):
            return self.answer
        envelope.rcpt_tos.append(address)
        return "250 ok"

    def check(self, _server: SMTP, _session: Session, _env: Envelope, _how: str, given: LoginPassword) -> AuthResult:
        self.logins.append(given)
        right = (given.login, given.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=right, handled=False)

    def controller(self) -> Controller:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.certificate.configure_cert(context)
        options: dict[str, Any] = {"authenticator": self.check, "auth_required": True}
        if self.tls == "starttls":
            options |= {"tls_context": context, "require_starttls": True}
        else:  # in the clear; or encrypted from the start, which the protocol of this server does not know of
            options["auth_require_tls"] = False
        outer = context if self.tls == "tls" else None
        return _Controller(self, "127.0.0.1", self.port, ssl_context=outer, **options)


class _Controller(Controller):
    """A controller whose trial connection also finds a server that speaks TLS from the start."""

    def _trigger_server(self) -> None:
        anyone = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        anyone.check_hostname, anyone.verify_mode = False, ssl.CERT_NONE
        with socket.create_connection((self.hostname, self.port), 1.0) as way:
            if self.ssl_context:
                with anyone.wrap_socket(way) as inside:
                    inside.recv(100)
            else:
                way.recv(100)


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def trusted(authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let this machine trust the authority that signed the server's certificate."""
    authority.cert_pem.write_to_path(tmp_path / "authority.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))


Start = Callable[..., Server]


@pytest.fixture
def start(authority: trustme.CA, monkeypatch: pytest.MonkeyPatch) -> Iterator[Start]:
    """Start mail servers, and stop them in the end."""
    running = []
    monkeypatch.setattr(mailing, "TIMEOUT_S", 3.0)

    def begin(tls: str = "starttls", name: str = "127.0.0.1", answer: str = "250 ok") -> Server:
        made = Server(free_port(), tls, authority.issue_cert(name), answer)
        running.append(made.controller())
        running[-1].ready_timeout = 20.0
        running[-1].start()
        return made

    yield begin
    for controller in running:
        controller.stop()


# --- a studio ---------------------------------------------------------------------------------------------------------
@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a studio with one report and its letter."""
    monkeypatch.delenv(mailing.PASSWORD_VARIABLE, raising=False)
    made = studio.create(tmp_path / "studio")
    add_report(made.root, VISIT)
    return made.root


def add_report(root: Path, name: str, content: Letter = LETTER) -> None:
    when = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
    draft = letter.message(content, settings.load(), when, unsent=True).as_bytes()
    document = b'{"schema": 1, "visit": {"id": "' + content.visit_id.encode() + b'"}}'
    files = {"report.pdf": content.pdf, "letter.eml": draft, "fitting.json": document}
    studio.write_folder(root / "outbox" / name, files)
    with closing(Ledger(root / "work" / "ledger.sqlite3")) as ledger:  # else it would count as lost
        ledger.accept(Entry(content.visit_id, name, "accepted", 0, None, ()), (name, name), when.isoformat())
        ledger.move(content.visit_id, "reported", name)


def configure(root: Path, server: Server, mode: int = 0o600, **more: object) -> None:
    """Write studio.toml and the password file."""
    secret = root / "mail password.txt"
    secret.write_text(f"{PASSWORD}\n", encoding="utf-8")
    secret.chmod(mode)
    chosen = {
        "name": "Example studio", "mail_from": "desk@studio.example", "smtp_host": "127.0.0.1",
        "smtp_port": server.port, "smtp_security": "tls" if server.tls == "tls" else "starttls", "smtp_user": USER,
        "smtp_password_file": secret.name, **more,
    }  # fmt: skip
    lines = [f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}" for key, value in chosen.items()]
    (root / "studio.toml").write_text("\n".join(lines), encoding="utf-8")


def log_of(root: Path) -> str:
    path = root / "work" / "log.txt"
    return path.read_text(encoding="utf-8") if path.exists() else ""


# --- it goes out, encrypted -------------------------------------------------------------------------------------------
@pytest.mark.usefixtures("trusted")
@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_a_letter_goes_out_encrypted_once_and_as_it_lies_there(place: Path, run: Run, start: Start, tls: str) -> None:
    server = start(tls)
    configure(place, server)
    code, out, err = run("letter", place, "customer 7", "--send")
    assert (code, err) == (0, "")
    assert out == f"sent to customer@example.org through 127.0.0.1, port {server.port}\n"
    [got] = server.got
    assert (got.mail_from, got.rcpt_tos) == ("desk@studio.example", ["customer@example.org"])
    assert isinstance(got.content, bytes)
    found = email.message_from_bytes(got.content, _class=EmailMessage, policy=policy.default)
    assert found.keys() == ["From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Content-Type"]
    assert found["From"] == "Example studio <desk@studio.example>"
    body = found.get_body()
    assert body is not None
    assert body.get_content().splitlines() == ["Hello,", ".", "attached"]
    assert [part.get_content() for part in found.iter_attachments()] == [PDF]
    assert server.encrypted == [tls == "starttls"]  # from the start is before the server's protocol begins
    assert server.names == ["[127.0.0.1]"]
    assert "Visit id-7: its letter was sent." in log_of(place)
    assert "example.org" not in log_of(place)
    assert b"example.org" not in b"".join(p.read_bytes() for p in (place / "work").glob("ledger*"))


@pytest.mark.usefixtures("trusted")
def test_the_password_may_stand_in_a_variable(
    place: Path, run: Run, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    server = start()
    configure(place, server, smtp_password_file="")
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == SettingsError.exit_code
    assert "smtp_password_file, or set the variable BAYWRIGHT_SMTP_PASSWORD" in err
    monkeypatch.setenv(mailing.PASSWORD_VARIABLE, PASSWORD)
    assert run("letter", place, VISIT, "--send")[0] == 0
    assert len(server.got) == 1


@pytest.mark.usefixtures("trusted")
def test_an_address_given_by_hand_goes_before_that_of_the_letter(place: Path, run: Run, start: Start) -> None:
    server = start()
    configure(place, server)
    assert run("letter", place, VISIT, "--to", "other@example.org", "--send")[0] == 0
    assert [got.rcpt_tos for got in server.got] == [["other@example.org"]]
    shown = run("letter", place, VISIT, "--to", "other@example.org")[1]
    assert shown.endswith(f"baywright letter {place} '{VISIT}' --to other@example.org --send\n")
    code, _, err = run("letter", place, VISIT, "--to", "a@b.example, c@d.example", "--send", "--again")
    assert code == SettingsError.exit_code
    assert "this is not one plain e-mail address" in err
    assert len(server.got) == 1


# --- it does not go out -----------------------------------------------------------------------------------------------
@pytest.mark.usefixtures("trusted")
def test_a_server_without_encryption_gets_nothing(place: Path, run: Run, start: Start) -> None:
    server = start("none")
    configure(place, server)
    code, out, err = run("letter", place, VISIT, "--send")
    assert (code, out) == (LetterError.exit_code, "")
    assert err == (
        f"baywright: 127.0.0.1, port {server.port}: it offers no encryption or no log-in there. "
        'Check smtp_port, and try smtp_security = "tls". Nothing was sent.\n'
    )
    assert (server.got, server.logins) == ([], [])
    assert run("letter", place, VISIT)[1].count("not sent by this program") == 1


@pytest.mark.parametrize("tls", ["starttls", "tls"])
def test_an_unknown_authority_is_refused(place: Path, run: Run, start: Start, tls: str) -> None:
    server = start(tls)
    configure(place, server)
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "its certificate is not trusted (" in err
    assert (server.got, server.logins) == ([], [])


@pytest.mark.usefixtures("trusted")
def test_a_certificate_of_another_host_is_refused(place: Path, run: Run, start: Start) -> None:
    server = start(name="mail.example")
    configure(place, server)
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "its certificate is not trusted (IP address mismatch" in err
    assert server.got == []


@pytest.mark.usefixtures("trusted")
@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("wrong", "it refused smtp_user or the password. Check both. Nothing was sent."),
        ("naïve", "smtp_user or the password has characters that cannot be sent to a mail server. Nothing was sent."),
    ],
)
def test_a_wrong_password_is_said_and_nothing_is_noted(
    place: Path, run: Run, start: Start, monkeypatch: pytest.MonkeyPatch, password: str, said: str
) -> None:
    server = start()
    configure(place, server)
    monkeypatch.setenv(mailing.PASSWORD_VARIABLE, password)
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert said in err
    assert password not in err
    monkeypatch.delenv(mailing.PASSWORD_VARIABLE)
    assert run("letter", place, VISIT, "--send")[0] == 0


@pytest.mark.usefixtures("trusted")
@pytest.mark.parametrize("answer", ["550 no such customer", "554 too\x07 large"])
def test_a_refused_letter_may_be_sent_later(place: Path, run: Run, start: Start, answer: str) -> None:
    server = start(answer=answer)
    configure(place, server)
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "the mail server refused the letter (55" in err
    assert "\x07" not in err
    assert "example.org" not in log_of(place)
    server.answer = "250 ok"
    assert run("letter", place, VISIT, "--send")[0] == 0
    assert len(server.got) == 1


def test_nobody_at_home(place: Path, run: Run, start: Start) -> None:
    server = start()
    configure(place, server, smtp_port=free_port())
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "it cannot be reached (Connection refused). Check smtp_host and the network. Nothing was sent." in err
    configure(place, server, smtp_security="tls")
    assert 'Check smtp_port, and try smtp_security = "starttls". Nothing' in run("letter", place, VISIT, "--send")[2]
    configure(place, server, smtp_host="a..b")
    assert "smtp_host, smtp_user or the password has characters" in run("letter", place, VISIT, "--send")[2]


def test_what_is_not_set_is_named(place: Path, run: Run) -> None:
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == SettingsError.exit_code
    assert "studio.toml: mail_from and smtp_host must be set before a letter can be sent." in err


# --- once, or on purpose ----------------------------------------------------------------------------------------------
@pytest.mark.usefixtures("trusted")
def test_twice_only_on_purpose(place: Path, run: Run, start: Start) -> None:
    server = start()
    configure(place, server)
    assert run("letter", place, VISIT, "--send")[0] == 0
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert err.startswith("baywright: it was sent on 20")
    assert "Nothing was sent now. To send it once more, add --again." in err
    (place / "outbox" / VISIT).rename(place / "outbox" / "renamed by staff")
    assert run("letter", place, "renamed", "--send")[0] == LetterError.exit_code
    assert len(server.got) == 1
    assert run("letter", place, "renamed", "--send", "--again")[0] == 0
    assert len(server.got) == 2
    add_report(place, f"{VISIT} (version 2)", Letter("id-7", LETTER.to, "S", "T\n", PDF + b"new", "r.pdf"))
    assert run("letter", place, "version 2", "--send")[0] == 0
    assert len(server.got) == 3


@pytest.mark.usefixtures("trusted")
def test_a_way_that_breaks_while_handing_over_is_never_tried_again_by_itself(
    place: Path, run: Run, start: Start
) -> None:
    server = start(answer="hang up")
    configure(place, server)
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "It may have arrived: look into the mailbox of mail_from, or ask the customer" in err
    server.answer = "250 ok"
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "and never ended, so it may have arrived. Nothing was sent now. To send it once more, add --again." in err
    assert "sending began on 20" in run("letter", place, VISIT)[1]
    assert run("letter", place, VISIT, "--send", "--again")[0] == 0
    assert len(server.got) == 1
    assert "Before     it was sent on 20" in run("letter", place, VISIT)[1]


@pytest.mark.usefixtures("trusted")
def test_a_program_killed_between_sending_and_noting_leaves_the_sending_open(
    place: Path, run: Run, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    server = start()
    configure(place, server)
    with monkeypatch.context() as patched:
        patched.setattr(Ledger, "end_sending", killed)
        assert run("letter", place, VISIT, "--send")[0] == 130
    assert len(server.got) == 1
    assert run("letter", place, VISIT, "--send")[0] == LetterError.exit_code
    assert len(server.got) == 1


@pytest.mark.usefixtures("trusted")
def test_a_ledger_that_cannot_note_the_end_says_what_happened(
    place: Path, run: Run, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    server = start()
    configure(place, server)
    monkeypatch.setattr(Ledger, "end_sending", full)
    code, _, err = run("letter", place, VISIT, "--send")
    assert code == LetterError.exit_code
    assert "the letter was sent, but that could not be noted (No space left on device); it stays noted as begun" in err


def test_of_two_programs_one_gets_to_send(tmp_path: Path) -> None:
    one, other = Ledger(tmp_path / "ledger.sqlite3"), Ledger(tmp_path / "ledger.sqlite3")
    first = one.begin_sending("id", "v", "2026-11-25T12:00:00")
    assert first is not None
    assert other.begin_sending("id", "v", "2026-11-25T12:00:01") is None
    again = other.begin_sending("id", "v", "2026-11-25T12:00:02", again=True)
    assert again is not None
    assert (first.number, again.number) == (1, 2)
    one.end_sending(first, "2026-11-25T12:00:03", sent=True)
    assert other.last_sending("id", "v") == again
    other.end_sending(again, "2026-11-25T12:00:04", sent=False)
    last = one.last_sending("id", "v")
    assert last is not None
    assert (last.number, last.state, last.at) == (1, "sent", "2026-11-25T12:00:03")
    assert one.last_sending("id", "w") is None
    one.close()
    other.close()


# --- from shot file to letter -----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("given", "note", "to"),
    [
        ("customer@example.org", "", "customer@example.org"),
        (
            "a@b.example, c@d.example",
            "; the letter has no address: the email in visit.toml is not one plain address",
            "",
        ),
    ],
)
def test_a_dropped_visit_gets_its_letter(place: Path, run: Run, given: str, note: str, to: str) -> None:
    rows = "".join(f"Own driver,{135 + i % 4},{10 + i % 2},{2900 + 10 * i}\n" for i in range(8))
    visit = place / "inbox" / "visit 9"
    visit.mkdir()
    head = "Club,Ball speed (mph),Launch angle (deg),Spin rate (rpm)\n"
    (visit / "a.csv").write_text(head + rows, encoding="utf-8")
    (visit / "visit.toml").write_text(f'email = "{given}"\ncustomer = "Oak Example"', encoding="utf-8")
    code, out, err = run("process", place)
    assert (code, err) == (0, "")
    assert out.startswith(f"report   visit 9: 8 balls, 8 counted, 1 set{note}\n")
    shown = run("letter", place, "visit 9")[1]
    assert f"To         {to or 'nobody yet'}" in shown
    assert "  Your club carried " in shown
    assert "Oak" not in log_of(place) + shown
    assert "example" not in log_of(place)


# --- the dry run ------------------------------------------------------------------------------------------------------
def test_without_send_nothing_leaves_the_computer(place: Path, run: Run, start: Start) -> None:
    server = start()
    configure(place, server, mode=0o644)  # the password is not even read
    code, out, err = run("letter", place, "CUSTOMER 7")
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "Letter     2026-11-25 customer 7",
        "From       desk@studio.example",
        "To         customer@example.org",
        "Subject    Your fitting report",
        "Attached   r.pdf, 0 kB",
        f"Through    127.0.0.1, port {server.port}, starttls",
        "Before     not sent by this program",
        "",
        "  Hello,",
        "  .",
        "  attached",
        "",
        "Nothing was sent.",
        f"To send it: baywright letter {place} '2026-11-25 customer 7' --send",
    ]
    assert server.got == []
    assert "example.org" not in log_of(place)


def test_what_is_lacking_is_said_beforehand(place: Path, run: Run) -> None:
    add_report(place, "2026-11-25 other", Letter("id-8", "", "S", "T\n", PDF, "r.pdf"))
    out = run("letter", place, "other")[1]
    assert "From       nobody yet: set mail_from in studio.toml" in out
    assert "To         nobody yet: write email = … into visit.toml, or add --to ADDRESS" in out
    assert "Through    nothing yet: set smtp_host in studio.toml" in out
    code, _, err = run("letter", place, "other", "--send")
    assert code == LetterError.exit_code
    assert "the letter has no address. Add --to ADDRESS" in err


def test_the_visit_is_named_by_its_folder_or_a_part_only_it_has(place: Path, run: Run) -> None:
    add_report(place, f"{VISIT} (version 2)")
    add_report(place, "2026-11-25 $(touch x); 8")
    assert run("letter", place, VISIT)[1].startswith(f"Letter     {VISIT}\n")
    assert run("letter", place, place / "outbox" / VISIT)[1].startswith(f"Letter     {VISIT}\n")
    assert run("letter", place, "Version 2")[1].startswith(f"Letter     {VISIT} (version 2)\n")
    assert run("letter", place, "touch")[1].endswith(" '2026-11-25 $(touch x); 8' --send\n")
    code, _, err = run("letter", place, "customer")
    assert code == FolderError.exit_code
    assert err == (
        f"baywright: 'customer': 2 reports have that in their names. Name one of:\n  {VISIT}\n  {VISIT} (version 2)\n"
    )
    for wanted in ("nobody", "", ".", ".."):
        code, _, err = run("letter", place, wanted)
        assert code == FolderError.exit_code
        assert "no report has that in its name. Name one of:" in err


def test_a_studio_without_reports(tmp_path: Path, run: Run) -> None:
    studio.create(tmp_path / "empty")
    code, _, err = run("letter", tmp_path / "empty", "x")
    assert code == FolderError.exit_code
    assert "there is no report yet." in err


def test_a_folder_that_is_not_whole_is_refused(place: Path, run: Run) -> None:
    folder = place / "outbox" / VISIT
    (folder / "report.pdf").write_bytes(b"%PDF-1.7 another")
    code, _, err = run("letter", place, VISIT)
    assert code == LetterError.exit_code
    assert "letter.eml carries another PDF than the report.pdf beside it" in err
    (folder / "fitting.json").write_bytes(b"[]")
    assert "fitting.json is damaged" in run("letter", place, VISIT)[2]
    (folder / "letter.eml").unlink()
    code, _, err = run("letter", place, VISIT)
    assert code == FolderError.exit_code
    assert "letter.eml, report.pdf and fitting.json are needed, and one cannot be read" in err


# --- the password file ------------------------------------------------------------------------------------------------
@pytest.mark.skipif(os.name != "posix", reason="there are no such rights on this system")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o777])
def test_a_password_others_may_read_is_refused(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "password"
    path.write_text("secret\r\n", encoding="utf-8")
    path.chmod(mode)
    with pytest.raises(SettingsError, match=r"others may read the password in it\. .* chmod 600") as caught:
        passwords.of_file(path, "smtp_password_file")
    assert "secret" not in str(caught.value)
    for right in (0o600, 0o400):
        path.chmod(right)
        assert passwords.of_file(path, "smtp_password_file") == "secret"


def test_a_password_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"the password file cannot be read \(No such file"):
        passwords.of_file(tmp_path / "none", "smtp_password_file")


def test_a_system_without_such_rights_is_told(
    place: Path, run: Run, start: Start, monkeypatch: pytest.MonkeyPatch
) -> None:
    configure(place, start())
    assert mailing.password_file_note() == ""
    monkeypatch.setattr(mailing, "password_file_note", lambda: "it cannot be checked")
    assert "Note       it cannot be checked" in run("letter", place, VISIT)[1]
