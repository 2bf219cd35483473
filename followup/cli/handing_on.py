"""``followup export fhir``: one patient in a form that other programs read."""

from __future__ import annotations

import json

import click

from followup.care.exchange.fhir import patient_bundle
from followup.care.records.opening import KnownOpenings, opens
from followup.cli.contract import CommandOutcome
from followup.cli.files import target, write_out
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
