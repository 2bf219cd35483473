"""A sheet or a day of them that was set in this run is not set again: the same data give the same bytes.

That they do is tested with typesetters of a test's own, which know nothing of this.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from followup.sheets.paper.typesetter import Typesetter, typesetter

# A clinic's worker ends after eight for the room that it takes, some 40 MB a sheet; a run has room for more.
JOBS_A_WORKER = 20


def remembering(ask: Callable[[bytes], bytes], home: Path) -> Callable[[bytes], bytes]:
    """``ask`` of the typesetter, but for jobs that a worker of the run has answered: they lie in ``home``."""
    home.mkdir(exist_ok=True)

    def answer(job: bytes) -> bytes:
        known = home / hashlib.sha256(job).hexdigest()
        if not known.exists():
            part = home / f"{known.name}.{os.getpid()}"
            part.write_bytes(ask(job))
            part.rename(known)
        return known.read_bytes()

    return answer


def remember_sheets(patch: pytest.MonkeyPatch, home: Path) -> None:
    """Let the typesetter of single sheets remember, and those that a day's sheets make for themselves."""

    def make(**given: Any) -> Typesetter:
        setter = Typesetter(**given)
        setter._ask = remembering(setter._ask, home)
        return setter

    patch.setattr(typesetter, "_ask", remembering(typesetter._ask, home))
    for room in ("followup.sheets.paper.batch", "followup.care.sheets.of_a_day"):
        patch.setattr(f"{room}.Typesetter", make)
    patch.setattr("followup.sheets.paper.typesetter.MOST_JOBS", JOBS_A_WORKER)
