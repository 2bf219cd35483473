"""The ways out: a mail server, an HTTP gateway described by a template, a folder, or paper.

A template is TOML; ``$text``, ``$to`` and ``$key`` stand for the message, and ``env.NAME`` in
``[secrets]`` for a value from the environment, so that no secret stands in the file::

    url = "https://gateway.example/send"
    method = "POST"
    body = '{"to": "$to", "text": "$text", "id": "$key"}'
    escape = "json"                     # json, form or none: how text is put into the body
    [headers]
    Content-Type = "application/json"
    Authorization = "Bearer $token"
    Idempotency-Key = "$key"
    [secrets]
    token = "GATEWAY_TOKEN"             # the name of an environment variable
"""

from __future__ import annotations

import json
import smtplib
import ssl
from collections.abc import Mapping
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path
from string import Template
from typing import Literal, Protocol
from urllib.error import HTTPError
from urllib.parse import quote_plus, urlsplit
from urllib.request import HTTPRedirectHandler, Request, build_opener

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from followup.clinical.protocol.lines import load_toml, toml_problem
from followup.errors import FollowupError
from followup.records.people.messages import Message
from followup.records.store.durable import write_whole

TIMEOUT = 20.0


class NotSentError(Exception):
    """This try failed. ``lasting``: no further try can help (a refused address or text)."""

    def __init__(self, why: str, *, lasting: bool = False) -> None:
        self.lasting = lasting
        super().__init__(why)


class Sender(Protocol):
    """Hands one message on, or raises NotSentError. May be called twice with the same key."""

    def send(self, message: Message) -> None: ...


class FolderSender:
    """Each message as a file named by its key: the same message twice is the same file."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def send(self, message: Message) -> None:
        content = {
            "key": message.key,
            "to": message.address,
            "language": message.language,
            "text": message.text,
        }
        path = self._folder / f"{message.key}.json"
        try:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            write_whole(path, json.dumps(content, ensure_ascii=False, indent=1).encode())
        except OSError as exc:
            raise NotSentError(f"the folder can't be written: {exc.strerror}") from None


class MailSettings(BaseModel):
    """The mail server. ``security``: tls from the first byte, starttls, or none (this computer only)."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    host: str
    port: int = Field(ge=1, le=65535)
    sender: str
    security: Literal["tls", "starttls", "none"] = "starttls"
    user: str = ""
    subject: str = "Your eye clinic"
    timeout: float = Field(TIMEOUT, gt=0, le=120)


class MailSender:
    """Over SMTP. The Message-ID carries the key, so that a repeated mail can be told as one."""

    def __init__(self, settings: MailSettings, password: str = "") -> None:
        self._settings, self._password = settings, password

    def send(self, message: Message) -> None:
        given = self._settings
        try:
            mail = self._mail(message)
        except (ValueError, LookupError, TypeError) as exc:
            raise NotSentError(f"no mail can be written to it: {type(exc).__name__}", lasting=True) from None
        try:
            with self._connected() as server:
                if given.security == "starttls":
                    server.starttls(context=ssl.create_default_context())
                if given.user:
                    server.login(given.user, self._password)
                server.send_message(mail)
        except smtplib.SMTPRecipientsRefused as exc:
            code = next(iter(exc.recipients.values()))[0]
            raise NotSentError(f"the mail server refuses the address ({code})", lasting=code >= 500) from None
        except smtplib.SMTPResponseException as exc:
            lasting = exc.smtp_code >= 500 and not isinstance(exc, smtplib.SMTPAuthenticationError)
            raise NotSentError(f"the mail server says {exc.smtp_code}", lasting=lasting) from None
        except (OSError, smtplib.SMTPException) as exc:
            raise NotSentError(f"the mail server can't be reached: {type(exc).__name__}") from None

    def _connected(self) -> smtplib.SMTP:
        given = self._settings
        if given.security == "tls":
            context = ssl.create_default_context()
            return smtplib.SMTP_SSL(given.host, given.port, timeout=given.timeout, context=context)
        return smtplib.SMTP(given.host, given.port, timeout=given.timeout)

    def _mail(self, message: Message) -> EmailMessage:
        mail = EmailMessage()
        mail["From"], mail["To"], mail["Subject"] = (
            self._settings.sender,
            message.address,
            self._settings.subject,
        )
        mail["Date"] = format_datetime(message.created_at)
        mail["Message-ID"] = f"<{message.key}@{self._settings.sender.rpartition('@')[2]}>"
        mail.set_content(message.text)
        # After the text: setting it takes away every header that tells of the content.
        mail["Content-Language"] = message.language
        return mail


class Gateway(BaseModel):
    """An HTTP gateway as its template describes it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    url: str
    method: Literal["POST", "PUT", "GET"] = "POST"
    body: str = ""
    escape: Literal["json", "form", "none"] = "json"
    headers: dict[str, str] = {}
    secrets: dict[str, str] = {}
    timeout: float = Field(TIMEOUT, gt=0, le=120)


class _NoRedirect(HTTPRedirectHandler):
    """A gateway that moved must be looked at by a person: the text is personal."""

    def redirect_request(self, *_: object, **__: object) -> None:
        return None


class GatewaySender:
    """Over HTTP. An answer from 200 to 299 is acceptance."""

    def __init__(self, gateway: Gateway, env: Mapping[str, str]) -> None:
        missing = [name for name in gateway.secrets.values() if not env.get(name)]
        if missing:
            raise FollowupError(
                "gateway.secret", f"{missing[0]} is not set", where="gateway", fix="set it in the environment"
            )
        self._gateway = gateway
        self._secrets = {key: env[name] for key, name in gateway.secrets.items()}
        self._opener = build_opener(_NoRedirect)

    def send(self, message: Message) -> None:
        request = self._request(message)
        try:
            with self._opener.open(request, timeout=self._gateway.timeout) as answer:
                answer.read(1)
        except HTTPError as exc:
            with exc:
                lasting = exc.code in (400, 404, 410, 413, 422)
                raise NotSentError(f"the gateway answers {exc.code}", lasting=lasting) from None
        except OSError as exc:
            raise NotSentError(f"the gateway can't be reached: {type(exc).__name__}") from None
        except Exception as exc:  # an answer that is no HTTP at all
            raise NotSentError(f"the gateway's answer can't be read: {type(exc).__name__}") from None

    def _request(self, message: Message) -> Request:
        given = self._gateway
        values = {"text": message.text, "to": message.address, "key": message.key, **self._secrets}
        escaped = {key: _escaped(value, given.escape) for key, value in values.items()}
        in_url = {key: quote_plus(value) for key, value in values.items()}
        body = Template(given.body).safe_substitute(escaped).encode() if given.body else None
        url = Template(given.url).safe_substitute(in_url)
        headers = {name: Template(value).safe_substitute(values) for name, value in given.headers.items()}
        if any("\n" in value or "\r" in value for value in headers.values()):
            raise NotSentError("a line break would stand in a header", lasting=True)
        # The scheme was checked when the template was read.
        return Request(url, data=body, headers=headers, method=given.method)  # noqa: S310


def load_gateway(path: Path) -> Gateway:
    """The template of a file. Errors by file and line: ``gateway.field``, ``gateway.url``."""
    data, locate = load_toml(path)
    try:
        gateway = Gateway.model_validate(data)
    except ValidationError as exc:
        raise toml_problem(exc, path, locate, code="gateway.field") from None
    url = urlsplit(gateway.url)
    local = url.hostname in ("127.0.0.1", "localhost", "::1")
    if url.scheme != "https" and not (url.scheme == "http" and local):
        raise FollowupError(
            "gateway.url",
            "messages go over https only",
            where=f"{path.name} line {locate('url')}",
            fix="write https://..., or http:// for a gateway on this computer",
        )
    return gateway


def _escaped(value: str, how: str) -> str:
    if how == "json":
        return json.dumps(value, ensure_ascii=False)[1:-1]
    return quote_plus(value) if how == "form" else value
