"""Messages in the store: who agreed to them, what waits, what is being sent, what could not be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal, cast

from sqlalchemy import ColumnElement, CursorResult, String
from sqlalchemy import cast as sql_cast
from sqlmodel import Session, col, delete, or_, select, update

from followup.errors import FollowupError
from followup.records.channels import CHANNELS, WAYS_OUT, Channel
from followup.records.duties import DESKS, MANAGER, PROGRAM
from followup.records.people.addresses import is_usable, with_plain_digits
from followup.records.people.patients import lock_patient
from followup.records.store.store import Unit, insert_once
from followup.records.tables import (
    READERS,
    MessageChoiceRow,
    MessageRow,
    PatientRow,
    StandingRow,
)
from followup.said import say

# A try ends long before; whoever still holds a message then is dead.
LONGEST_CLAIM = timedelta(minutes=5)
LONGEST_WAIT = timedelta(hours=36)

State = Literal["waiting", "sent", "failed", "left out"]


@dataclass(frozen=True)
class MessageChoice:
    """What the patient agreed to. ``stopped_at``: since then nothing is sent."""

    patient_id: int
    consent: bool
    reader: Literal["patient", "carer"]
    channel: Channel
    address: str
    stopped_at: datetime | None

    @property
    def wants_messages(self) -> bool:
        return self.consent and self.stopped_at is None


@dataclass(frozen=True)
class Message:
    """One message. ``key`` stays the same however often it is tried."""

    id: int
    key: str
    patient_id: int
    patient_code: str
    kind: str
    day: date
    last_useful: date
    language: str
    reader: str
    channel: Channel
    address: str
    text: str
    segments: int
    state: State
    created_at: datetime
    next_try: datetime
    tries: int
    sent_at: datetime | None
    last_error: str


def choose_messages(
    unit: Unit,
    *,
    patient_id: int,
    consent: bool,
    reader: str = "patient",
    channel: str = "paper",
    address: str = "",
) -> MessageChoice:
    """Write down what the patient agreed to.

    Errors: ``role.missing``, ``messages.`` reader, channel, address.
    """
    unit.need_role(*DESKS, PROGRAM)
    if reader not in READERS or channel not in CHANNELS:
        raise FollowupError(
            "messages.channel",
            say("no such reader or way"),
            fix=say("one of {channels}", channels=", ".join(CHANNELS)),
        )
    address = " ".join(address.split())
    takes = WAYS_OUT[channel].takes
    if takes == "telephone":
        address = with_plain_digits(address)
    if consent and takes in ("mail", "telephone") and not address:
        raise FollowupError(
            "messages.address", say("no address"), where=say("address"), fix=say("give number or address")
        )
    if consent and not is_usable(channel, address):
        raise FollowupError(
            "messages.address",
            say(
                "{address} is no {channel}",
                address=address[:60],
                channel=say("mail address") if takes == "mail" else say("telephone number"),
            ),
            where=say("address"),
            fix=say("write name@place.org")
            if takes == "mail"
            else say("type the whole number with its area code"),
        )
    patient = lock_patient(unit, patient_id)
    row = unit.session.get(MessageChoiceRow, patient_id) or MessageChoiceRow(
        patient_id=patient_id, consent=consent, changed_by="", changed_at=unit.now
    )
    row.consent, row.reader, row.channel, row.address = consent, reader, channel, address
    row.changed_by, row.changed_at, row.stopped_at = unit.actor.login, unit.now, None
    unit.session.add(row)
    unit.session.flush()
    unit.log("messages chosen", f"patient:{patient.code}", consent=consent, reader=reader, channel=channel)
    return _choice(row)


def stop_messages(unit: Unit, *, patient_id: int) -> None:
    """The patient wants no more messages: nothing that waits goes out either. Error ``role.missing``."""
    unit.need_role(*DESKS, PROGRAM)
    patient = lock_patient(unit, patient_id)
    unit.session.execute(
        update(MessageChoiceRow)
        .where(col(MessageChoiceRow.patient_id) == patient_id)
        .values(stopped_at=unit.now)
    )
    unit.session.execute(
        update(MessageRow)
        .where(col(MessageRow.patient_id) == patient_id, col(MessageRow.state) == "waiting")
        .values(state="left out", last_error="stopped by the patient")
    )
    unit.log("messages stopped", f"patient:{patient.code}")


def message_choice(session: Session, patient_id: int) -> MessageChoice | None:
    """What the patient agreed to; None: never asked."""
    row = session.get(MessageChoiceRow, patient_id)
    return _choice(row) if row else None


def message_choices(session: Session, among: Iterable[int]) -> dict[int, MessageChoice]:
    """Of those ``among`` these patients who were asked."""
    asked = select(MessageChoiceRow).where(col(MessageChoiceRow.patient_id).in_(set(among)))
    return {row.patient_id: _choice(row) for row in session.exec(asked)}


def unusable_choices(session: Session) -> tuple[str, ...]:
    """Codes of patients who agreed to messages to an address that is none, from before it was checked."""
    rows = session.exec(
        select(MessageChoiceRow, PatientRow.code)
        .join(PatientRow, col(PatientRow.id) == MessageChoiceRow.patient_id)
        .where(col(MessageChoiceRow.consent), col(MessageChoiceRow.stopped_at).is_(None))
        .order_by(col(PatientRow.code_key))
    )
    return tuple(code for row, code in rows if not is_usable(row.channel, row.address))


def queue_message(unit: Unit, *, patient_code: str, **values: object) -> bool:
    """Queue a message unless its key is known; True if it waits now. The columns are those of the table.

    One that was left out waits again: what stood against it was taken back.
    """
    fresh = {"state": "waiting", "tries": 0, "claimed_by": "", "last_error": "", **values}
    done = insert_once(unit.session, MessageRow, created_at=unit.now, **fresh)
    if not done:
        key, left_out = values["key"], col(MessageRow.state) == "left out"
        again = update(MessageRow).where(col(MessageRow.key) == key, left_out)
        result = unit.session.execute(again.values(claimed_until=None, **fresh))
        assert isinstance(result, CursorResult)
        done = result.rowcount == 1
    if done:
        unit.log(
            "message queued", f"patient:{patient_code}", kind=str(values["kind"]), day=str(values["day"])
        )
    return done


def due_messages(session: Session, now: datetime, *, limit: int = 50) -> tuple[Message, ...]:
    """Those to try now that nobody else is trying, longest waiting first."""
    next_try = col(MessageRow.next_try)
    # Nothing is ever put off so long: a clock that ran ahead reckoned it.
    due = or_(next_try <= now, next_try > now + LONGEST_WAIT)
    return _messages(session, MessageRow.state == "waiting", due, _free(now))[:limit]


def take_back_messages_after(unit: Unit, day: date) -> None:
    """Messages of days after ``day``, which a clock that ran ahead wrote: none of them goes out.

    One that went out already stays as it is, but leaves its key to the one that is written in time.
    """
    ahead = col(MessageRow.day) > day
    waiting = unit.session.execute(delete(MessageRow).where(ahead, col(MessageRow.state) == "waiting"))
    assert isinstance(waiting, CursorResult)
    unit.session.execute(
        update(MessageRow)
        .where(ahead, col(MessageRow.key).not_like("%~%"))
        .values(key=col(MessageRow.key) + "~" + sql_cast(MessageRow.id, String))
    )
    if waiting.rowcount:
        unit.log("messages taken back, the clock ran ahead", "clinic", messages=waiting.rowcount)


def _free(now: datetime) -> ColumnElement[bool]:
    """Nobody is trying it: no claim, one that has run out, or one of a clock that ran ahead."""
    until = col(MessageRow.claimed_until)
    return or_(until.is_(None), until <= now, until > now + 2 * LONGEST_CLAIM)


def claim_message(unit: Unit, *, message_id: int, owner: str, lifetime: timedelta = LONGEST_CLAIM) -> bool:
    """Whether ``owner`` alone may try this message for ``lifetime``. Needs no journal entry."""
    result = unit.session.execute(
        update(MessageRow)
        .where(
            col(MessageRow.id) == message_id,
            col(MessageRow.state) == "waiting",
            _free(unit.now),
        )
        .values(claimed_by=owner, claimed_until=unit.now + lifetime, tries=MessageRow.tries + 1)
    )
    assert isinstance(result, CursorResult)
    return result.rowcount == 1


def finish_message(
    unit: Unit,
    message: Message,
    *,
    owner: str,
    state: State,
    next_try: datetime | None = None,
    error: str = "",
) -> bool:
    """What came of the try. False where the claim had run out and someone else went on with it."""
    values = {
        "state": state,
        "claimed_until": None,
        "last_error": error,
        "sent_at": unit.now if state == "sent" else None,
        "next_try": next_try or message.next_try,
    }
    result = unit.session.execute(
        update(MessageRow)
        .where(col(MessageRow.id) == message.id, col(MessageRow.state) == "waiting")
        .where(col(MessageRow.claimed_by) == owner)
        .values(**values)
    )
    assert isinstance(result, CursorResult)
    if result.rowcount == 1 and state != "waiting":
        unit.log(f"message {state}", f"patient:{message.patient_code}", kind=message.kind, error=error)
    return result.rowcount == 1


def write_anew(unit: Unit, message: Message, *, owner: str, **values: object) -> None:
    """What the claimed message says, or whom it goes to, was changed since: it waits with what holds now."""
    unit.session.execute(
        update(MessageRow)
        .where(col(MessageRow.id) == message.id, col(MessageRow.state) == "waiting")
        .where(col(MessageRow.claimed_by) == owner)
        .values(claimed_until=None, tries=0, **values)
    )
    unit.log("message written anew", f"patient:{message.patient_code}", kind=message.kind)


def choices_changed(session: Session, since: datetime, until: datetime) -> bool:
    """Whether somebody said something about messages, or is followed again, between these instants."""
    said, followed = col(MessageChoiceRow.changed_at), col(StandingRow.since)
    chosen = select(MessageChoiceRow.patient_id).where(said >= since, said <= until)
    back = select(StandingRow.patient_id).where(
        StandingRow.standing == "followed", followed >= since, followed <= until
    )
    return any(session.exec(query.limit(1)).first() is not None for query in (chosen, back))


def unsent_messages(session: Session, *, before: datetime | None = None) -> tuple[Message, ...]:
    """Those that failed, and those that still wait though they were due ``before`` that instant."""
    failed = col(MessageRow.state) == "failed"
    if before is None:
        return _messages(session, failed)
    late = (col(MessageRow.state) == "waiting") & (col(MessageRow.next_try) <= before)
    return _messages(session, or_(failed, late))


def try_again(unit: Unit, *, message_id: int) -> None:
    """The manager asks for another try of a message that failed.

    Errors: ``role.missing``, ``message.unknown``.
    """
    unit.need_role(*MANAGER)
    found = _messages(unit.session, MessageRow.id == message_id, MessageRow.state == "failed")
    if not found:
        raise FollowupError(
            "message.unknown", say("no such message failed"), fix=say("look at the list again")
        )
    unit.session.execute(
        update(MessageRow)
        .where(col(MessageRow.id) == message_id)
        .values(state="waiting", tries=0, next_try=unit.now, claimed_until=None)
    )
    unit.log("message to be tried again", f"patient:{found[0].patient_code}", kind=found[0].kind)


def _messages(session: Session, *conditions: object) -> tuple[Message, ...]:
    rows = session.exec(
        select(MessageRow, PatientRow.code)
        .join(PatientRow, col(PatientRow.id) == MessageRow.patient_id)
        .where(*conditions)  # type: ignore[arg-type]
        .order_by(col(MessageRow.next_try), col(MessageRow.id))
    )
    return tuple(_message(row, code) for row, code in rows)


def _message(row: MessageRow, code: str) -> Message:
    same = row.model_dump(exclude={"claimed_by", "claimed_until", "channel", "state"})
    return Message(
        **same, patient_code=code, channel=cast(Channel, row.channel), state=cast(State, row.state)
    )


def _choice(row: MessageChoiceRow) -> MessageChoice:
    return MessageChoice(
        row.patient_id,
        row.consent,
        "carer" if row.reader == "carer" else "patient",
        cast(Channel, row.channel),
        row.address,
        row.stopped_at,
    )
