"""``followup journal verify``: is the journal whole, and where does it break?"""

from __future__ import annotations

import click

from followup.cli.contract import CommandOutcome
from followup.cli.opening import folder_option, opened, settings_from
from followup.clinical.english import counted
from followup.recall.jobs.daily import kept_seal, seal_file
from followup.records.plans.bound import verify_all


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
