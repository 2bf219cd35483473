"""``followup messages``: what could not be sent, and the call list of a day."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import cast

import click

from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import DayOption
from followup.cli.opening import clinic_today, folder_option, opened, settings_from
from followup.clinical.english import counted
from followup.clinical.protocol.load import load_protocol
from followup.recall.jobs.lists import as_csv
from followup.recall.messages.calls import CallLine, call_lines
from followup.recall.messages.segments import segments
from followup.recall.messages.wording import MessageKind
from followup.records.channels import CHANNELS
from followup.records.people.messages import choose_messages, stop_messages, unsent_messages
from followup.records.people.patients import patient_by_code, unknown_patient
from followup.records.store.store import Session
from followup.records.views import SYSTEM


@click.group()
def messages() -> None:
    """Messages to patients: the call list, and what could not be sent."""


@messages.command()
@folder_option
def unsent(folder: str | None) -> CommandOutcome:
    """List the messages that failed or wait too long, with the last error: call these patients."""
    with opened(settings_from(folder)) as store, store.read() as session:
        found = unsent_messages(session, before=datetime.now(UTC))
    lines = [
        f"{one.patient_code}: {one.kind} for {one.day}, {one.state} "
        f"after {counted(one.tries, 'try', 'tries')} to {one.address}: {one.last_error or 'not tried yet'}\n"
        for one in found
    ]
    return CommandOutcome(
        visible("".join([f"{counted(len(found), 'message', 'messages')} not sent\n", *lines]))
    )


@messages.command()
@click.argument("kind", type=click.Choice(("reminder", "step change", "missed")))
@folder_option
@click.option("--on", type=DayOption(), help="The day of the calls; without it today.")
def calls(kind: str, folder: str | None, on: date | None) -> CommandOutcome:
    """Print the call list as CSV: whom to call, in which language, and what to say."""
    settings = settings_from(folder)
    with opened(settings) as store:
        day = on or clinic_today(store)
        protocol = load_protocol(settings.protocol)
        with store.read() as session:
            lines = call_lines(session, cast(MessageKind, kind), day, protocol)
    return CommandOutcome(as_csv(CallLine, lines))


@messages.command()
@click.argument("code")
@folder_option
@click.option("--by", type=click.Choice(CHANNELS), required=True, help="Which way.")
@click.option("--to", "address", default="", help="Telephone number or mail address.")
@click.option("--carer", is_flag=True, help="Written to a helper instead of the patient.")
def agree(code: str, folder: str | None, by: str, address: str, carer: bool) -> CommandOutcome:
    """Note that the patient CODE agreed to messages, by which way and to whom."""
    with opened(settings_from(folder)) as store, store.write(SYSTEM, datetime.now(UTC)) as unit:
        who = _patient(unit.session, code)
        reader = "carer" if carer else "patient"
        choose_messages(unit, patient_id=who, consent=True, reader=reader, channel=by, address=address)
    return CommandOutcome(visible(f"{code} gets messages by {by}.\n"))


@messages.command()
@click.argument("code")
@folder_option
def stop(code: str, folder: str | None) -> CommandOutcome:
    """Note that the patient CODE wants no messages; what waits is not sent either."""
    with opened(settings_from(folder)) as store, store.write(SYSTEM, datetime.now(UTC)) as unit:
        stop_messages(unit, patient_id=_patient(unit.session, code))
    return CommandOutcome(visible(f"{code} gets no more messages.\n"))


def _patient(session: Session, code: str) -> int:
    found = patient_by_code(session, code)
    if found is None:
        raise unknown_patient()
    return found.id


@messages.command()
@click.argument("text")
def count(text: str) -> CommandOutcome:
    """Say how many parts a text message takes."""
    found = segments(text)
    parts = counted(found.count, "part", "parts")
    return CommandOutcome(f"{parts}: {found.units} places in {found.alphabet}\n")
