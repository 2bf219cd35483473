"""The ways out, against a real mail server and a real HTTP server on this computer, with their faults."""

from __future__ import annotations

import json
import smtplib
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from aiosmtpd.controller import Controller

from followup.errors import FollowupError
from followup.recall.messages.channels import (
    Gateway,
    GatewaySender,
    MailSender,
    MailSettings,
    NotSentError,
    load_gateway,
)
from followup.records.people.messages import Message

NOW = datetime(2027, 3, 7, 6, 30, tzinfo=UTC)
TEXT = 'Riverbend: আপনার আসার দিন "৮ মার্চ"\nsecond line & more'


def _message(**more) -> Message:
    given = {
        "id": 1, "key": "r-7-2027-03-08", "patient_id": 1, "patient_code": "K-1", "kind": "reminder",
        "day": date(2027, 3, 7), "last_useful": date(2027, 3, 8), "language": "bn", "reader": "patient",
        "channel": "mail", "address": "wanjiru@example.org", "text": TEXT, "segments": 2, "state": "waiting",
        "created_at": NOW, "next_try": NOW, "tries": 0, "sent_at": None, "last_error": "",
    }  # fmt: skip
    return Message(**{**given, **more})


# Mail


class Mailbox:
    """What a mail server was given; it refuses or dawdles as told."""

    def __init__(self) -> None:
        self.mails: list[bytes] = []
        self.rcpt, self.data, self.wait = "", "", 0.0
        self.settings: MailSettings

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if self.rcpt:
            return self.rcpt
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        import asyncio

        await asyncio.sleep(self.wait)
        self.mails.append(envelope.content)
        return self.data or "250 OK"


class _Server(Controller):
    """A mail server on a port that was its own from the beginning, so that nobody can take it first."""

    def __init__(self, box: Mailbox) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        super().__init__(box, hostname="127.0.0.1", port=self.listener.getsockname()[1])

    def _create_server(self):
        return self.loop.create_server(self._factory_invoker, sock=self.listener)


@pytest.fixture
def mailbox() -> Iterator[tuple[Mailbox, MailSender]]:
    box = Mailbox()
    server = _Server(box)
    server.start()
    box.settings = MailSettings(
        host="127.0.0.1", port=server.port, sender="clinic@example.org", security="none"
    )
    yield box, MailSender(box.settings)
    server.stop()


@pytest.fixture
def deaf_port() -> Iterator[int]:
    """A port at which nobody listens, and which nobody else can take."""
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        yield silent.getsockname()[1]


def test_a_mail_arrives_whole_with_its_key(mailbox):
    from email import message_from_bytes, policy

    box, sender = mailbox
    sender.send(_message())
    sender.send(_message())
    first, second = (message_from_bytes(raw, policy=policy.default) for raw in box.mails)
    assert first.get_content().replace("\r\n", "\n").strip() == TEXT
    assert (first["To"], first["From"]) == ("wanjiru@example.org", "clinic@example.org")
    assert first["Message-ID"] == second["Message-ID"] == "<r-7-2027-03-08@example.org>"


@pytest.mark.parametrize(
    ("where", "answer", "lasting"),
    [
        ("rcpt", "550 no such mailbox", True),
        ("rcpt", "450 mailbox busy", False),
        ("data", "451 try later", False),
        ("data", "554 refused", True),
    ],
)
def test_what_the_mail_server_refuses_is_tried_again_only_where_that_can_help(
    mailbox, where, answer, lasting
):
    box, sender = mailbox
    setattr(box, where, answer)
    with pytest.raises(NotSentError) as caught:
        sender.send(_message())
    assert caught.value.lasting is lasting
    assert answer[:3] in str(caught.value)


def test_a_mail_server_that_is_not_there_or_too_slow_is_tried_again(mailbox, deaf_port):
    box, _ = mailbox
    box.wait = 1.5
    with pytest.raises(NotSentError) as caught:
        MailSender(box.settings.model_copy(update={"timeout": 1})).send(_message())
    assert not caught.value.lasting
    absent = MailSender(MailSettings(host="127.0.0.1", port=deaf_port, sender="a@b", security="none"))
    with pytest.raises(NotSentError) as caught:
        absent.send(_message())
    assert not caught.value.lasting


def test_a_mail_is_never_sent_in_the_clear_where_encryption_was_asked_for(mailbox):
    box, sender = mailbox
    given = sender._settings.model_copy(update={"security": "starttls"})
    with pytest.raises(NotSentError):
        MailSender(given).send(_message())
    assert box.mails == []


class SilentServer:
    """A mail server that takes everything, and notes what was done with it."""

    def __init__(self, refuses: int = 0) -> None:
        self.done, self.refuses = [], refuses

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.done.append("leave")

    def starttls(self, context) -> None:
        assert context.verify_mode == ssl.CERT_REQUIRED
        assert context.check_hostname
        self.done.append("cipher")

    def login(self, user: str, password: str) -> None:
        self.done.append((user, password))
        if self.refuses:
            raise smtplib.SMTPAuthenticationError(self.refuses, b"who are you?")

    def send_message(self, mail) -> None:
        self.done.append(mail)


@pytest.mark.parametrize(
    ("given", "steps"),
    [
        ({}, ["cipher"]),
        ({"security": "none"}, []),
        ({"user": "clinic"}, ["cipher", ("clinic", "hush")]),
        ({"security": "tls", "user": "clinic"}, [("clinic", "hush")]),
    ],
)
def test_a_mail_goes_out_after_the_cipher_and_the_log_in_that_were_asked_for(monkeypatch, given, steps):
    servers, asked = {"plain": SilentServer(), "tls": SilentServer()}, []

    def begun(kind):
        return lambda host, port, **more: asked.append((kind, host, port, more["timeout"])) or servers[kind]

    monkeypatch.setattr("smtplib.SMTP", begun("plain"))
    monkeypatch.setattr("smtplib.SMTP_SSL", begun("tls"))
    sender = MailSettings(host="mail.example", port=587, sender="clinic@example.org", **given)
    MailSender(sender, "hush").send(_message())
    kind = "tls" if given.get("security") == "tls" else "plain"
    assert asked == [(kind, "mail.example", 587, 20.0)]
    *before, mail, last = servers[kind].done
    assert (before, last) == (steps, "leave")
    assert (mail["Subject"], mail["Content-Language"]) == ("Your eye clinic", "bn")
    assert mail["Date"] == "Sun, 07 Mar 2027 06:30:00 +0000"


@pytest.mark.parametrize("code", [454, 535])
def test_a_password_that_the_mail_server_refuses_is_mended_and_the_mails_go_out_then(monkeypatch, code):
    monkeypatch.setattr("smtplib.SMTP", lambda *_, **__: SilentServer(refuses=code))
    sender = MailSettings(host="mail.example", port=587, sender="clinic@example.org", user="clinic")
    with pytest.raises(NotSentError) as caught:
        MailSender(sender, "hush").send(_message())
    assert not caught.value.lasting
    assert "hush" not in str(caught.value)


# Gateway


class Server:
    """An HTTP server that answers as told and notes what it was asked."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, str, dict[str, str], str]] = []
        self.accepted: list[str] = []
        self.answers: list[object] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length") or 0)).decode()
                outer.asked.append((self.command, self.path, dict(self.headers), body))
                answer = outer.answers.pop(0) if outer.answers else 200
                if isinstance(answer, float):
                    time.sleep(answer)
                    return
                if answer == "lost":
                    # Accepted, and the line breaks before the answer.
                    outer.accepted.append(self.headers.get("Idempotency-Key", ""))
                    self.connection.shutdown(socket.SHUT_RDWR)
                    return
                if answer == "noise":
                    self.wfile.write(b"\x00\xff what?\r\n\r\n")
                    return
                if answer == 200:
                    outer.accepted.append(self.headers.get("Idempotency-Key", ""))
                self.send_response(answer)
                if answer == 302:
                    self.send_header("Location", "/elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()

            do_POST = do_PUT = do_GET = do  # noqa: N815

            def log_message(self, *_args: object) -> None:
                pass

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.http.daemon_threads = True
        self.thread = threading.Thread(target=self.http.serve_forever, kwargs={"poll_interval": 0.02})
        self.thread.start()

    def sender(self, **more) -> GatewaySender:
        given = {
            "url": f"http://127.0.0.1:{self.http.server_port}/send",
            "body": '{"to": "$to", "text": "$text", "id": "$key"}',
            "headers": {
                "Content-Type": "application/json",
                "Authorization": "Bearer $token",
                "Idempotency-Key": "$key",
            },
            "secrets": {"token": "GATEWAY_TOKEN"},
        }
        return GatewaySender(Gateway.model_validate({**given, **more}), {"GATEWAY_TOKEN": "s3cret"})

    def stop(self) -> None:
        self.http.shutdown()
        self.http.server_close()
        self.thread.join()


@pytest.fixture
def gateway() -> Iterator[Server]:
    server = Server()
    yield server
    server.stop()


def test_the_template_says_what_is_sent_and_the_secret_comes_from_the_environment(gateway):
    gateway.sender().send(_message(channel="gateway", address="+44 20 7946 0101"))
    ((method, path, headers, body),) = gateway.asked
    assert (method, path, headers["Authorization"]) == ("POST", "/send", "Bearer s3cret")
    assert json.loads(body) == {"to": "+44 20 7946 0101", "text": TEXT, "id": "r-7-2027-03-08"}


def test_a_form_and_an_address_in_the_url_are_escaped(gateway):
    sender = gateway.sender(
        url=f"http://127.0.0.1:{gateway.http.server_port}/send?to=$to", body="text=$text", escape="form"
    )
    sender.send(_message(address="+44 20&x=1"))
    (_, path, _, body) = gateway.asked[0]
    assert path == "/send?to=%2B44+20%26x%3D1"
    assert "&" not in body.removeprefix("text=")


@pytest.mark.parametrize(
    ("answer", "lasting"),
    [
        (500, False),
        (503, False),
        (429, False),
        (401, False),
        (302, False),
        (400, True),
        (403, False),
        (404, True),
        (408, False),
        (410, True),
        (413, True),
        (422, True),
        ("noise", False),
        (1.0, False),
    ],
)
def test_what_the_gateway_does_not_accept_is_not_sent(gateway, answer, lasting):
    gateway.answers = [answer]
    with pytest.raises(NotSentError) as caught:
        # Only who never answers is waited for so shortly.
        gateway.sender(**({"timeout": 0.5} if answer == 1.0 else {})).send(_message())
    assert caught.value.lasting is lasting
    assert "s3cret" not in str(caught.value)
    assert len(gateway.asked) == 1


def test_a_gateway_that_is_not_there_is_tried_again(deaf_port):
    gateway = Gateway(url=f"http://127.0.0.1:{deaf_port}/")
    with pytest.raises(NotSentError) as caught:
        GatewaySender(gateway, {}).send(_message())
    assert not caught.value.lasting


def test_an_answer_lost_after_acceptance_is_sent_again_under_the_same_key(gateway):
    sender = gateway.sender()
    gateway.answers = ["lost"]
    with pytest.raises(NotSentError) as caught:
        sender.send(_message())
    assert not caught.value.lasting
    sender.send(_message())
    assert gateway.accepted == ["r-7-2027-03-08"] * 2


def test_a_line_break_never_reaches_a_header(gateway):
    sender = gateway.sender(headers={"X-To": "$to"})
    with pytest.raises(NotSentError) as caught:
        sender.send(_message(address="a\r\nX-Evil: 1"))
    assert caught.value.lasting
    assert gateway.asked == []


@pytest.mark.parametrize(
    ("content", "where"),
    [
        ('url = "http://gateway.example/"', "gateway.toml line 1"),
        ('url = "ftp://gateway.example/"', "gateway.toml line 1"),
        ('url = "https://gateway.example/"\nmethod = "DELETE"', "gateway.toml line 2"),
        ('url = "https://gateway.example/"\n\npassword = "x"', "gateway.toml line 3"),
        ('method = "POST"', "gateway.toml line 1"),
    ],
)
def test_a_template_that_can_not_be_is_refused_by_file_and_line(tmp_path, content, where):
    path = tmp_path / "gateway.toml"
    path.write_text(content)
    with pytest.raises(FollowupError) as caught:
        load_gateway(path)
    assert caught.value.where == where


def test_a_secret_that_is_not_set_is_said_at_the_start():
    gateway = Gateway(url="https://gateway.example/", secrets={"token": "GATEWAY_TOKEN"})
    with pytest.raises(FollowupError, match="GATEWAY_TOKEN is not set"):
        GatewaySender(gateway, {})
