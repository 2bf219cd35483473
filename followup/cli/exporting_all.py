"""``followup export all``: the whole clinic as an open archive."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from followup.care.house.whole_clinic import ClinicsFiles, hand_on
from followup.cli.contract import CommandOutcome, visible
from followup.cli.opening import COMMAND_LINE, folder_option, opened, settings_from
from followup.clinical.english import counted
from followup.settings import Settings


@click.command("all")
@click.argument("file", metavar="FILE")
@folder_option
@click.option("--with-keys", is_flag=True, help="The keys of the codes too, with the backups' passphrase.")
def all_(file: str, folder: str | None, with_keys: bool) -> CommandOutcome:
    """Write the whole clinic into FILE: a ZIP of JSON Lines with their schemas, which others can read too.

    It holds everything of the patients and is not encrypted. Passwords, second factors and log-ins stay
    here; the keys that seal the codes of sheets go along only when they are asked for, encrypted with the
    passphrase of FOLLOWUP_BACKUP_PASSPHRASE. Bring it back with: followup import --all FILE.
    """
    settings, path = settings_from(folder), Path(file).expanduser().absolute()
    with opened(settings) as store:
        done = hand_on(
            store, path, files_of(settings), by=COMMAND_LINE, now=datetime.now(UTC), with_keys=with_keys
        )
    keys = "with the keys of the codes" if with_keys else "without the keys of the codes"
    rows = counted(done.rows, "row", "rows")
    return CommandOutcome(
        visible(
            f"{path}: {rows} in {done.files} files, {keys}. It is not encrypted: keep it as you keep the "
            "patients' records.\n"
        )
    )


def files_of(settings: Settings) -> ClinicsFiles:
    """Where the clinic's own files lie."""
    return ClinicsFiles(settings.folder, settings.key_file, settings.protocol, settings.backup_passphrase)
