"""The queue of messages as it lies in the store."""

from __future__ import annotations

from datetime import date

from sqlmodel import Session

from followup.records.people.messages import Message, _messages
from followup.records.tables import MessageRow


def messages_of_day(session: Session, day: date) -> tuple[Message, ...]:
    """Everything written for ``day``, whatever came of it."""
    return _messages(session, MessageRow.day == day)
