"""``followup export pseudonymous``: everybody without names."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from followup.care.house.without_names import hand_on_without_names
from followup.cli.contract import CommandOutcome, visible
from followup.cli.opening import COMMAND_LINE, folder_option, opened, settings_from
from followup.clinical.english import counted
from followup.clinical.protocol.load import load_protocol


@click.command()
@click.argument("file", metavar="FILE")
@folder_option
def pseudonymous(file: str, folder: str | None) -> CommandOutcome:
    """Write everybody into FILE without names: a ZIP of JSON Lines with a dictionary, for research or help.

    No name, code, telephone, birth date, place, colleague or typed word goes out; the days of each patient
    are moved by an offset that is kept nowhere. It is not anonymous: README.txt in it says what it does not
    promise, with figures.
    """
    settings, path = settings_from(folder), Path(file).expanduser().absolute()
    protocol = load_protocol(settings.protocol)
    with opened(settings) as store:
        done = hand_on_without_names(store, path, protocol, by=COMMAND_LINE, now=datetime.now(UTC))
    told = counted(done.patients, "patient", "patients")
    return CommandOutcome(
        visible(
            f"{path}: {told} without names. It is not anonymous: {done.alone_by_intervals} of them are alone "
            f"with the days between their visits, {done.in_small_groups} stand in groups of fewer than five. "
            "Read README.txt in it before you give it to anybody.\n"
        )
    )
