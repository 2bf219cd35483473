"""``followup messages``: what could not be sent, and the call list of a day."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import cast

import click

from followup.cli.contract import Outcome, visible
from followup.cli.files import Day
from followup.cli.opening import clinic_today, folder_option, opened, settings_from
from followup.cli.words import counted
from followup.clinical.protocol import load_protocol
from followup.recall.lists import as_csv
from followup.recall.messages.calls import CallLine, call_lines
from followup.recall.messages.segments import segments
from followup.recall.messages.wording import MessageKind
from followup.records.messages import unsent_messages


@click.group()
def messages() -> None:
    """Messages to patients: the call list, and what could not be sent."""


@messages.command()
@folder_option
def unsent(folder: str | None) -> Outcome:
    """List the messages that failed or wait too long, with the last error: call these patients."""
    with opened(settings_from(folder)) as store, store.read() as session:
        found = unsent_messages(session, before=datetime.now(UTC))
    lines = [
        f"{one.patient_code}: {one.kind} for {one.day}, {one.state} "
        f"after {counted(one.tries, 'try', 'tries')} to {one.address}: {one.last_error or 'not tried yet'}\n"
        for one in found
    ]
    return Outcome(visible("".join([f"{counted(len(found), 'message', 'messages')} not sent\n", *lines])))


@messages.command()
@click.argument("kind", type=click.Choice(("reminder", "step change", "missed")))
@folder_option
@click.option("--on", type=Day(), help="The day of the calls; without it today.")
def calls(kind: str, folder: str | None, on: date | None) -> Outcome:
    """Print the call list as CSV: whom to call, in which language, and what to say."""
    settings = settings_from(folder)
    with opened(settings) as store:
        day = on or clinic_today(store)
        protocol = load_protocol(settings.protocol)
        with store.read() as session:
            lines = call_lines(session, cast(MessageKind, kind), day, protocol)
    return Outcome(as_csv(CallLine, lines))


@messages.command()
@click.argument("text")
def count(text: str) -> Outcome:
    """Say how many parts a text message takes."""
    found = segments(text)
    parts = counted(found.count, "part", "parts")
    return Outcome(f"{parts}: {found.units} places in {found.alphabet}\n")
