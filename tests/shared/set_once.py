"""A sheet or a day of them that was set in this run is not set again: the same data give the same bytes.

That they do is tested with typesetters of a test's own, which know nothing of this.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from followup.sheets.paper.typesetter import Typesetter

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


def a_days_setters(home: Path) -> Callable[..., Typesetter]:
    """Makes typesetters for a day's sheets, each of a batch's own, that remember as well."""

    def make(**given: Any) -> Typesetter:
        setter = Typesetter(**given)
        setter._ask = remembering(setter._ask, home)
        return setter

    return make
