"""A password for a command: from a variable, from a file, or typed; never on the command line."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from pathlib import Path

import click

from followup.care.new_password import stored_password
from followup.care.passwords import Passwords
from followup.errors import FollowupError
from followup.settings import read_secret

PASSWORD = "FOLLOWUP_PASSWORD"  # noqa: S105 - the name of a variable, not a password


def new_password(known: Iterable[str] = ()) -> str:
    """A new password as it is stored: given, or typed twice until it is one.

    ``known``: texts that whoever guesses tries first. Errors: those of ``stored_password``.
    """
    while True:
        try:
            return stored_password(Passwords(), typed_password(twice=True), known=known)
        except FollowupError as refused:
            if not refused.code.startswith("password.") or given_elsewhere() or not someone_answers():
                raise
            click.echo(f"  {refused.what} - {refused.fix}", err=True)


def given_elsewhere() -> bool:
    """Whether the environment holds the password, so that nobody is asked."""
    return bool(os.environ.get(PASSWORD) or os.environ.get(f"{PASSWORD}_FILE"))


def typed_password(*, twice: bool = False) -> str:
    """The password; a new one is asked for ``twice``. Error ``init.password`` where nobody answers."""
    value, file = os.environ.get(PASSWORD), os.environ.get(f"{PASSWORD}_FILE")
    if value:
        return value
    if file:
        return read_secret(Path(file), f"{PASSWORD}_FILE")
    if not someone_answers():
        raise FollowupError("init.password", "no password given", fix=f"name its file in {PASSWORD}_FILE")
    answer: str = click.prompt(
        "Password, 12 characters or more" if twice else "Password",
        hide_input=True,
        confirmation_prompt=twice,
        err=True,
    )
    return answer


def someone_answers() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()
