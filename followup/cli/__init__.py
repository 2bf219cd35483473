"""The command line. :func:`main` is what ``followup`` runs; each command has its own module."""

from __future__ import annotations

import builtins
import gc
import os
import sys
from collections.abc import Mapping
from importlib import import_module
from keyword import iskeyword
from types import ModuleType

import click

from followup import __version__
from followup.cli.contract import run

# Module and one line of help. The module is loaded when its command is called, so that a short
# command starts fast.
COMMANDS = {
    "audit": ("followup.cli.audit", "Print the outcome audit, small numbers masked; write it as CSV or PDF."),
    "backup": ("followup.cli.backup", "Back up the clinic while it works."),
    "check": ("followup.cli.check", "Look whether the program does its work; say what to do."),
    "demo": ("followup.cli.demo", "Show a filled sample clinic, everybody in it invented."),
    "due": ("followup.cli.lists", "Print who comes today."),
    "erase": ("followup.cli.erase", "Erase a patient who asks for it, as far as the law lets go."),
    "export": ("followup.cli.exporting", "Hand the clinic on in forms that others read."),
    "import": ("followup.cli.importing", "Store operation lists and records from a file."),
    "init": ("followup.cli.clinic", "Set up a clinic, or change its data."),
    "journal": ("followup.cli.journal", "Check or read the record of who did what when."),
    "keys": ("followup.cli.keys", "List the keys that seal the codes of sheets; add one."),
    "language": ("followup.cli.language", "Check the sheet's languages; a reviewer's table out and in."),
    "mapping": ("followup.cli.mapping", "Say how the clinic's own tables are read."),
    "messages": ("followup.cli.messages", "List unsent messages and the calls of a day."),
    "move": ("followup.cli.move", "Carry a clinic to another database."),
    "overdue": ("followup.cli.lists", "Print whom to reach, most pressing first, and why."),
    "plan": ("followup.cli.plan", "Print the whole plan of one operative record."),
    "read": ("followup.cli.reading", "Read a told operation into the record's fields; say what to ask."),
    "restore": ("followup.cli.backup", "Put a backup in the database's place."),
    "protocol": ("followup.cli.protocol", "Check, print, compare or sign a protocol."),
    "review": ("followup.cli.review", "Print what the findings of one look lead to."),
    "schema": ("followup.cli.schema", "Print a JSON Schema of what goes in or comes out."),
    "serve": ("followup.cli.clinic", "Serve the pages and keep the lists up to date."),
    "sheet": ("followup.cli.sheet", "Write the patient's sheet."),
    "site": ("followup.cli.site", "List, add and change sites; bind staff to one."),
    "staff": ("followup.cli.staff", "List who works here; make a manager; let in who is locked out."),
    "sweep": ("followup.cli.clinic", "Note once what turned late or overdue."),
}


class Commands(click.Group):
    """The commands of a table by name, loaded when needed."""

    table: Mapping[str, tuple[str, str]] = COMMANDS

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        name = f"{cmd_name}_" if iskeyword(cmd_name) or hasattr(builtins, cmd_name) else cmd_name
        found = getattr(_loaded(self.table[cmd_name][0]), name)
        return found if isinstance(found, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in sorted(self.table.items())])


def _loaded(module: str) -> ModuleType:
    """The module of a command. Nothing that is loaded is ever garbage: looking for some in it, again and
    again while it grows, takes a sixth of the time."""
    gc.disable()
    try:
        return import_module(module)
    finally:
        gc.enable()


@click.command(
    cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(__version__, message="followup %(version)s")
def cli() -> None:
    """Drop tapers, review visits and instruction sheets after cataract surgery.

    A faulty input ends with one line and exit code 2, a fault of the program or the computer with
    exit code 1. Add --trace to any command to see where a fault lies.
    """


def main() -> None:
    """Entry point of the ``followup`` script."""
    # Lists, sheets, keys and databases hold what patients told: whatever is written is its owner's alone.
    os.umask(0o077)
    sys.exit(run(cli, sys.argv[1:]))
