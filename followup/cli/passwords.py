"""A password for a command: from a variable, from a file, or typed; never on the command line."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from followup.errors import FollowupError
from followup.settings import read_secret

PASSWORD = "FOLLOWUP_PASSWORD"  # noqa: S105 - the name of a variable, not a password


def typed_password(*, twice: bool = False) -> str:
    """The password; a new one is asked for ``twice``. Error ``init.password`` where nobody answers."""
    value, file = os.environ.get(PASSWORD), os.environ.get(f"{PASSWORD}_FILE")
    if value:
        return value
    if file:
        return read_secret(Path(file), f"{PASSWORD}_FILE")
    if not someone_answers():
        raise FollowupError("init.password", "no password given", fix=f"name its file in {PASSWORD}_FILE")
    answer: str = click.prompt("Password", hide_input=True, confirmation_prompt=twice, err=True)
    return answer


def someone_answers() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()
