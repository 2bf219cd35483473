"""``followup keys``: the keys that seal the codes of sheets, and a new one."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise

import click

from followup.cli.contract import CommandOutcome
from followup.cli.opening import COMMAND_LINE, folder_option, opened, settings_from
from followup.clinical.english import counted
from followup.recall.codes.codes import load_keyring, rotate_keyring
from followup.records.plans.sheets import printed_in_force
from followup.records.store.journal import journal_of

_SUBJECT = "keys"


@click.group()
def keys() -> None:
    """The keys that seal the codes of sheets."""


@keys.command("list")
@folder_option
def list_keys(folder: str | None) -> CommandOutcome:
    """Print each key by its id, since when it seals, and how many sheets in force were printed in its time.

    A serve that was not started anew after a turn goes on with the key before.
    """
    settings = settings_from(folder)
    with opened(settings) as store, store.read() as session:
        ring, turned = load_keyring(settings.key_file), journal_of(session, _SUBJECT)
        printed = printed_in_force(session)
    began = {str(entry.details["key"]): entry.at for entry in turned}
    names = sorted(ring.keys)
    lines = []
    for name, following in pairwise([*names, ""]):
        since, until = began.get(name), began.get(following)
        sheets = sum((since is None or at >= since) and (until is None or at < until) for at in printed)
        said = f"since {since:%Y-%m-%d %H:%M} UTC" if since else "since before the journal tells of it"
        seals = ", seals new sheets" if name == ring.newest else ""
        lines.append(f"{name}: {said}, {counted(sheets, 'sheet in force', 'sheets in force')}{seals}\n")
    return CommandOutcome("".join(lines))


@keys.command()
@folder_option
def turn(folder: str | None) -> CommandOutcome:
    """Add a key that seals from now on; sheets that were printed before stay readable.

    For when somebody may have seen the key file. A code that is typed in is not sealed by any key.
    """
    settings = settings_from(folder)
    with opened(settings) as store, store.write(COMMAND_LINE, datetime.now(UTC)) as unit:
        ring = rotate_keyring(settings.key_file)
        unit.log("keys turned", _SUBJECT, key=ring.newest)
    older = counted(len(ring.keys) - 1, "older key still opens its", "older keys still open their")
    return CommandOutcome(
        f"Key {ring.newest} seals new sheets; {older} sheets. Stop followup serve and start it anew, so that "
        f"it uses the new key. Then copy {settings.key_file} to where its backup lies: the clinic's backups "
        "do not hold it.\n"
    )
