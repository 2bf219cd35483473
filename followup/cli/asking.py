"""Questions of a command: each answer is checked when it is given, and asked for again if refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import click

from followup.cli.passwords import someone_answers
from followup.errors import FollowupError

T = TypeVar("T")


def answer(
    given: object, option: str, question: str, read: Callable[[str], T], *, usual: str | None = None
) -> T:
    """What was given, read; else what somebody answers, asked until it can be read.

    ``usual``: the answer of whoever presses Enter, and of a command that nobody can answer; None: there is
    none. Errors: those of ``read`` for what was given.
    """
    if isinstance(given, str):
        return read(given)
    if not someone_answers():
        if usual is None:
            raise click.UsageError(
                f"Missing option '--{option.replace('_', '-')}'", click.get_current_context()
            )
        return read(usual)
    while True:
        said: str = click.prompt(
            question, err=True, default="" if usual is None else usual, show_default=bool(usual)
        )
        try:
            return read(said)
        except FollowupError as refused:
            fix = f" - {refused.fix}" if refused.fix else ""
            click.echo(f"  {refused.what}{fix}", err=True)
