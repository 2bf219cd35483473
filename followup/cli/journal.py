"""``followup journal verify``: is the journal whole, and where does it break?"""

from __future__ import annotations

import click

from followup.cli.contract import Outcome
from followup.cli.opening import folder_option, opened, settings_from
from followup.recall.daily import kept_seal, seal_file
from followup.records.journal import verify_journal


@click.group()
def journal() -> None:
    """Look at the record of who did what when."""


@journal.command()
@folder_option
def verify(folder: str | None) -> Outcome:
    """Check every link of the chain, and that nothing was cut off since the last nightly seal."""
    settings = settings_from(folder)
    with opened(settings) as store, store.read() as session:
        seal = verify_journal(session, at_least=kept_seal(seal_file(settings.folder)))
    return Outcome(f"The journal is whole: {seal.entries} entries, newest {seal.hash}\n")
