"""The command line. :func:`main` is what ``followup`` runs; each command has its own module."""

from __future__ import annotations

import sys
from importlib import import_module

import click

from followup import __version__
from followup.cli.contract import run

# A command's module is loaded when it is called, so that a short command starts fast.
COMMANDS = {
    "demo": "followup.cli.demo",
    "due": "followup.cli.lists",
    "init": "followup.cli.clinic",
    "overdue": "followup.cli.lists",
    "plan": "followup.cli.plan",
    "schema": "followup.cli.schema",
    "serve": "followup.cli.clinic",
    "sheet": "followup.cli.sheet",
    "sweep": "followup.cli.clinic",
}


class Commands(click.Group):
    """The commands by name, loaded when needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        module = COMMANDS.get(cmd_name)
        if module is None:
            return None
        found = getattr(import_module(module), cmd_name)
        return found if isinstance(found, click.Command) else None


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
    sys.exit(run(cli, sys.argv[1:]))
