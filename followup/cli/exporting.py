"""``followup export``: what is handed on, a form a command."""

from __future__ import annotations

import click

from followup.cli import Commands

# Module and one line of help, as for the commands themselves.
FORMS = {
    "all": ("followup.cli.exporting_all", "The whole clinic, as an archive that can be brought back."),
    "pseudonymous": ("followup.cli.exporting_pseudonymous", "Everybody without names, for research or help."),
    "fhir": ("followup.cli.handing_on", "One patient as FHIR R4, for another program."),
    "ical": ("followup.cli.handing_on", "Visits as iCalendar: a patient's, or those of a day."),
}


class Forms(Commands):
    """The forms by name, loaded when needed; ``export --all FILE`` says the same as ``export all FILE``."""

    table = FORMS

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        said = next((arg for arg in args if arg[:2] == "--" and arg[2:] in self.table), "")
        if said and args[0] not in self.table:
            args = [said[2:], *(arg for arg in args if arg != said)]
        return super().parse_args(ctx, args)


@click.group(cls=Forms)
def export() -> None:
    """Hand the clinic on in forms that others read."""
