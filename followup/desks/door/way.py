"""Long work gives way to people: between two of its pieces it lets the pages be made that somebody waits for.

Python works for one thread at a time. Whoever prints a hundred sheets would else halve the speed of
every page meanwhile.
"""

from __future__ import annotations

import time
from typing import Annotated

import anyio.to_thread
from anyio import CapacityLimiter
from fastapi import Depends

# Seconds: how long a piece waits at most, and how often it looks. However many pages are asked for, the
# work goes on.
_PATIENCE = 1.0
_LOOK = 0.02


class Way:
    """What is at work in this server, seen from one long piece of work."""

    def __init__(self, threads: CapacityLimiter) -> None:
        self._threads = threads

    def give(self) -> None:
        """Come back as soon as nothing but this work is going on, or after a second."""
        ends = time.monotonic() + _PATIENCE
        while self._threads.borrowed_tokens > 1 and time.monotonic() < ends:
            time.sleep(_LOOK)


async def _way() -> Way:
    # Asked where the requests come in: a thread does not know whose it is.
    return Way(anyio.to_thread.current_default_thread_limiter())


AWay = Annotated[Way, Depends(_way)]
