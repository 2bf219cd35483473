"""``followup journal``: is the journal whole, where does it break, and what does it tell of one patient?"""

from __future__ import annotations

from collections.abc import Mapping

import click

from followup.cli.contract import CommandOutcome, visible
from followup.cli.opening import folder_option, opened, settings_from
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.recall.jobs.daily import kept_seal, seal_file
from followup.records.house.clinics import clinic_zone
from followup.records.people.opening import journal_of_patient
from followup.records.plans.bound import verify_all
from followup.records.store.journal import Detail


@click.group()
def journal() -> None:
    """Look at the record of who did what when."""


@journal.command()
@folder_option
def verify(folder: str | None) -> CommandOutcome:
    """Check every link of the chain, that nothing was cut off, and that plans and sheets are as signed.

    Each signed plan and issued sheet is read and compared with the hash in its entry. Where an entry is
    from before entries held one, that is said: nothing shows then that the plan or sheet is unchanged.
    """
    settings = settings_from(folder)
    with opened(settings) as store, store.read() as session:
        found = verify_all(session, at_least=kept_seal(seal_file(settings.folder)))
    seal, bound = found.journal, found.bound
    lines = [f"The journal is whole: {seal.entries} entries, newest {seal.hash}"]
    lines.append(
        f"As they were signed and issued, by their hash: {counted(bound.plans, 'plan', 'plans')},"
        f" {counted(bound.sheets, 'sheet', 'sheets')}"
    )
    if bound.plans_before or bound.sheets_before:
        lines.append(
            f"Not verified: {counted(bound.plans_before, 'plan', 'plans')} and"
            f" {counted(bound.sheets_before, 'sheet', 'sheets')} from before entries held a hash"
        )
    return CommandOutcome("\n".join([*lines, ""]))


@journal.command()
@folder_option
@click.argument("code")
def show(folder: str | None, code: str) -> CommandOutcome:
    """Print what the journal tells of the patient CODE: who opened, changed or printed something, and when.

    Times are the clinic's. "record opened" stands once for each person and day, whatever was opened; lists
    with many names, and commands on this computer, are not counted as looks.
    """
    settings = settings_from(folder)
    with opened(settings) as store, store.read() as session:
        entries = journal_of_patient(session, code)
        zone = clinic_zone(session)
    if not entries:
        raise FollowupError(
            "journal.none", "the journal tells nothing of this code", where=code, fix="check the code"
        )
    lines = [
        f"{entry.at.astimezone(zone):%Y-%m-%d %H:%M}  {entry.actor}  {entry.action}{_told(entry.details)}"
        for entry in entries
    ]
    return CommandOutcome("".join(visible(line) + "\n" for line in lines))


def _told(details: Mapping[str, Detail]) -> str:
    """What an entry holds beside its action; hashes are for ``verify`` and say nothing to a reader."""
    said = [
        f"{name} {value}" for name, value in details.items() if name != "sha256" and value not in (None, "")
    ]
    return f"  ({', '.join(said)})" if said else ""
