"""``followup import --all``: an empty clinic filled from an archive."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from followup.care.house.whole_clinic import BroughtIn, archive_at, bring_in
from followup.cli.contract import CommandOutcome, visible
from followup.cli.exporting_all import files_of
from followup.cli.logs import logging_in
from followup.cli.opening import COMMAND_LINE, new_store, refuse_set_up
from followup.clinical.english import counted
from followup.recall.jobs.daily import seal_file
from followup.records.jobs.restoring import put_aside
from followup.settings import Settings


def bring_in_whole(settings: Settings, path: Path, *, with_keys: bool) -> CommandOutcome:
    """Fill the empty clinic that the settings name. Errors: ``init.exists``, those of ``bring_in``."""
    now = datetime.now(UTC)
    refuse_set_up(settings, "an archive goes into an empty one: name a new --folder or an empty database")
    with archive_at(path) as archive, new_store(settings) as store, logging_in(settings.folder):
        done = bring_in(archive, store, files_of(settings), by=COMMAND_LINE, now=now, with_keys=with_keys)
    # It told of another clinic.
    put_aside(seal_file(settings.folder), now)
    return CommandOutcome(visible("".join(f"{line}\n" for line in _told(settings, done))))


def _told(settings: Settings, done: BroughtIn) -> list[str]:
    rows = counted(done.rows, "row", "rows")
    lines = [
        f"{rows} brought in and compared; the journal's {done.journal.entries} entries are whole.",
        "Nobody has a password: give a manager a new one with followup staff manager LOGIN "
        "(followup staff list names them), who gives the others theirs.",
    ]
    if not done.codes_scan:
        lines.append("The keys of the codes were not in it: codes printed before are typed, not scanned.")
    if done.protocol is not None:
        lines.append(f"The clinic's own protocol lies in {done.protocol}: name it in FOLLOWUP_PROTOCOL.")
    return lines
