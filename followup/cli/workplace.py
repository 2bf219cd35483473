"""What the daily jobs work with, made from the settings: folders, and the ways messages go out."""

from __future__ import annotations

import os
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
from followup.records.people.messages import Channel
from followup.records.store.store import Store
from followup.settings import Settings


def workplace(settings: Settings, store: Store, protocol: Protocol) -> Workplace:
    """Errors: those of the gateway's and the mail server's file, by file and line."""
    senders: dict[Channel, Sender] = {}
    if settings.outbox is not None:
        senders["folder"] = FolderSender(settings.outbox)
    if settings.gateway is not None:
        senders["gateway"] = GatewaySender(load_gateway(settings.gateway), os.environ)
    if settings.mail is not None:
        senders["mail"] = MailSender(load_mail(settings.mail), settings.mail_password)
    return Workplace(store, protocol, settings.folder, senders, settings.backup_passphrase)


def load_mail(path: Path) -> MailSettings:
    """The mail server as a file describes it. Error by file and line: ``mail.field``."""
    data, locate = load_toml(path)
    try:
        return MailSettings.model_validate(data)
    except ValidationError as exc:
        raise toml_problem(exc, path, locate, code="mail.field") from None
