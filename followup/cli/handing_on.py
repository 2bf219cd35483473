"""``followup export fhir`` and ``ical``: what other programs read of a patient, and of a day."""

from __future__ import annotations

import json
from datetime import date

import click

from followup.care.exchange.agenda import day_agenda, patient_agenda
from followup.care.exchange.fhir import patient_bundle
from followup.care.records.opening import KnownOpenings, opens
from followup.cli.contract import CommandOutcome
from followup.cli.files import DayOption, target, write_out
from followup.cli.hand import command_hand
from followup.cli.opening import folder_option, opened, settings_from


@click.command()
@click.argument("code", metavar="CODE")
@folder_option
@click.option("--out", metavar="FILE", help='Where to write it; "-": standard output.')
def fhir(code: str, folder: str | None, out: str | None) -> CommandOutcome:
    """Write the patient CODE as a bundle of FHIR R4, in JSON.

    Operations, findings and allergies, and the plan in force, else the newest: its courses with days and
    clock times, its visits, and who signed it. Without a signature everything in it is a draft.
    The journal says that the patient was opened.
    """
    settings = settings_from(folder)
    with opened(settings) as store:
        hand = command_hand(settings, store)
        opens(hand, KnownOpenings(), "code", code)
        text = json.dumps(patient_bundle(hand, code), ensure_ascii=False, indent=2) + "\n"
    if out == "-":
        return CommandOutcome(text)
    path = target(out, f"{code}.fhir.json")
    write_out(path, text.encode())
    return CommandOutcome(f"{path}: the patient {code} as FHIR R4.\n")


@click.command()
@click.argument("code", metavar="[CODE]", required=False)
@click.option("--day", type=DayOption(), help="The visits of this day with their patients, for the desk.")
@folder_option
@click.option("--out", metavar="FILE", help='Where to write it; "-": standard output.')
def ical(code: str | None, day: date | None, folder: str | None, out: str | None) -> CommandOutcome:
    """Write visits as iCalendar: those of the patient CODE, for a phone, or with --day those of a day.

    A patient's file is in the patient's language and holds no name, diagnosis or medicine; what is not to
    be any more stands in it as cancelled. The journal says that the patient was opened.
    """
    if (code is None) == (day is None):
        raise click.UsageError("Give CODE or --day", click.get_current_context())
    settings = settings_from(folder)
    with opened(settings) as store:
        hand = command_hand(settings, store)
        if day is not None:
            content, usual = day_agenda(hand, day), f"visits-{day}.ics"
        else:
            assert code is not None
            opens(hand, KnownOpenings(), "code", code)
            content, usual = patient_agenda(hand, code), f"visits-{code}.ics"
    if out == "-":
        return CommandOutcome(content.decode())
    path = target(out, usual)
    write_out(path, content)
    return CommandOutcome(f"{path}: visits for a calendar.\n")
