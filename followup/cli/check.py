"""``followup check``: numbered findings, each with what to do."""

from __future__ import annotations

from datetime import UTC, datetime

import click

from followup.cli.contract import FAULT, CommandOutcome, visible
from followup.cli.opening import folder_option, opened, settings_from
from followup.cli.workplace import workplace
from followup.clinical.english import counted
from followup.clinical.protocol.load import load_protocol
from followup.recall.jobs.health import findings


@click.command()
@folder_option
def check(folder: str | None) -> CommandOutcome:
    """Look whether the clinic's program does its work; E findings end with exit code 1."""
    settings = settings_from(folder)
    with opened(settings) as store:
        place = workplace(settings, store, load_protocol(settings.protocol))
        found = findings(place, settings.key_file, datetime.now(UTC))
    if not found:
        return CommandOutcome("All is well.\n")
    text = "".join(f"{one.code}  {one.what} - {one.fix}\n" for one in found)
    errors = sum(one.is_error for one in found)
    if errors:
        return CommandOutcome(visible(text), FAULT, f"{counted(errors, 'error', 'errors')} found")
    return CommandOutcome(visible(text))
