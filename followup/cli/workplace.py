"""What the daily jobs work with, made from the settings: folders, and the ways messages go out."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from pydantic import ValidationError

from followup.clinical.protocol.lines import load_toml, toml_problem
from followup.clinical.protocol.protocol import Protocol
from followup.recall.jobs.daily import Workplace
from followup.recall.messages.channels import (
    FolderSender,
    GatewaySender,
    MailSender,
    MailSettings,
    Sender,
    load_gateway,
)
from followup.records.channels import Channel
from followup.records.store.store import Store
from followup.settings import Settings


def workplace(settings: Settings, store: Store, protocol: Protocol) -> Workplace:
    """Errors: those of the gateway's and the mail server's file, by file and line."""
    senders = {way: made() for way, made in _ways(settings).items()}
    return Workplace(store, protocol, settings.folder, senders, settings.backup_passphrase)


def ways_out(settings: Settings) -> frozenset[Channel]:
    """The ways that are set up, without reading their files; a call is always one."""
    return frozenset({"paper", *_ways(settings)})


def _ways(settings: Settings) -> dict[Channel, Callable[[], Sender]]:
    """How each way out that the settings name is made."""
    ways: dict[Channel, Callable[[], Sender]] = {}
    if (outbox := settings.outbox) is not None:
        ways["folder"] = lambda: FolderSender(outbox)
    if (gateway := settings.gateway) is not None:
        ways["gateway"] = lambda: GatewaySender(load_gateway(gateway), os.environ)
    if (mail := settings.mail) is not None:
        ways["mail"] = lambda: MailSender(load_mail(mail), settings.mail_password)
    return ways


def load_mail(path: Path) -> MailSettings:
    """The mail server as a file describes it. Error by file and line: ``mail.field``."""
    data, locate = load_toml(path)
    try:
        return MailSettings.model_validate(data)
    except ValidationError as exc:
        raise toml_problem(exc, path, locate, code="mail.field") from None
