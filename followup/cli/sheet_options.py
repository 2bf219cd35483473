"""The choices of how a sheet looks, as options of ``followup sheet``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

import click

from followup.clinical.record import Record
from followup.sheets.options import Paper, SheetOptions, Size, usual_options

_OPTIONS = (
    click.option("--size", type=click.Choice(["normal", "large"]), default="normal", help="Print size."),
    click.option("--paper", type=click.Choice(["A4", "A5", "Letter"]), default="A4", help="Paper size."),
    click.option("--twin", metavar="L", help="The staff's language under every line, such as en."),
    click.option(
        "--pictures/--no-pictures",
        default=None,
        help="Pictures for someone who does not read; else as the record says.",
    ),
    click.option("--calendar/--no-calendar", default=True, help="The days to tick."),
    click.option("--native-digits", is_flag=True, help="The language's own digits beside the Latin ones."),
)


@dataclass(frozen=True)
class SheetChoices:
    """What was chosen on the command line; ``pictures`` is None where nothing was said."""

    size: Size = "normal"
    paper: Paper = "A4"
    twin: str | None = None
    pictures: bool | None = None
    calendar: bool = True
    native_digits: bool = False

    @classmethod
    def of(cls, given: Mapping[str, object]) -> SheetChoices:
        return cls(**cast(dict[str, Any], given))

    def options(self, record: Record) -> SheetOptions:
        """The options for this patient's sheet."""
        usual = usual_options(record)
        return replace(
            usual,
            size=self.size,
            paper=self.paper,
            twin=self.twin or usual.twin,
            pictures=usual.pictures if self.pictures is None else self.pictures,
            calendar=self.calendar,
            native_digits=self.native_digits,
        )

    def changed(self, record: Record) -> SheetOptions | None:
        """The options where anything was chosen; None leaves a sheet as it was printed."""
        return None if self == SheetChoices() else self.options(record)


def look_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Adds the options to a command; it gets them as keyword arguments, for ``Choices.of``."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
