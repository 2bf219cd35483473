"""The choices of how a sheet looks, as options of ``followup sheet``; None where nothing was said."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, cast

import click

from followup.sheets.options import SheetChoices

_OPTIONS = (
    click.option("--size", type=click.Choice(["normal", "large"]), help="Print size."),
    click.option("--paper", type=click.Choice(["A4", "A5", "Letter"]), help="Paper size."),
    click.option(
        "--twin", metavar="L", help="The staff's language too, such as en; else as the record says."
    ),
    click.option(
        "--pictures/--no-pictures",
        default=None,
        help="Pictures for someone who does not read; else as the record says.",
    ),
    click.option(
        "--calendar/--no-calendar", default=None, help="The days to tick; else as the clinic's data say."
    ),
    click.option(
        "--native-digits",
        is_flag=True,
        default=None,
        help="The language's own digits beside the Latin ones.",
    ),
)


def choices_of(given: Mapping[str, object]) -> SheetChoices:
    """What was chosen on the command line."""
    return SheetChoices(**cast(dict[str, Any], given))


def look_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Adds the options to a command; it gets them as keyword arguments, for ``choices_of``."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
