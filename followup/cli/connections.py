"""Bounded connections: whoever opens many and says nothing neither stays nor keeps others out.

The server's own limits count requests alone. Here a connection has so many seconds to say what it wants,
to go on with what it sends and to take what it asked for, and each origin has so many at once. Where there
are too many the one goes that has waited longest without a request, of the origin that has most.
"""

from __future__ import annotations

import asyncio
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, cast

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

# Below this share of the open files that the computer allows, so that the database finds some too.
_SHARE = 3
# So many are taken at a time; only then those that are too many are closed.
AT_A_TIME, WAITING = 16, 1024


@dataclass(frozen=True)
class Limits:
    """``patience``: seconds in which a request, or the next part of it, must come; ``whole``: all of it.

    ``most`` connections at once, ``of_one`` from one address. A clinic behind one proxy is one address.
    """

    patience: float = 20.0
    whole: float = 180.0
    most: int = 500
    of_one: int = 200


def usual_limits(*, all_through_one: bool = False) -> Limits:
    """As many connections as the computer's limit of open files has room for, and not more than is usual.

    ``all_through_one``: a server in front opens them all, and counts its own callers itself.
    """
    if sys.platform == "win32":
        return Limits(of_one=Limits.most if all_through_one else Limits.of_one)
    import resource

    allowed, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = Limits.most if allowed == resource.RLIM_INFINITY else max(8, min(Limits.most, allowed // _SHARE))
    return Limits(most=most, of_one=most if all_through_one else min(Limits.of_one, most - most // 4))


def bounded(limits: Limits) -> type[H11Protocol]:
    """The server's protocol with these limits."""
    return type("Bounded", (BoundedProtocol,), {"limits": limits})


class BoundedProtocol(H11Protocol):
    """One connection."""

    limits = Limits()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.waits_since = self._heard = self._began = self.loop.time()
        self._unsent, self._unsent_since = 0, self._heard
        self._watch: asyncio.TimerHandle | None = None
        self._look()
        self._make_room()

    def connection_lost(self, exc: Exception | None) -> None:
        if self._watch is not None:
            self._watch.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        idle, self._heard = self.is_waiting, self.loop.time()
        super().data_received(data)
        if idle and not self.is_waiting:
            self._began = self._heard

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self.waits_since = self.loop.time()

    @property
    def origin(self) -> str:
        return self.client[0] if self.client else ""

    @property
    def is_waiting(self) -> bool:
        """Whether no whole head of a request is here that waits for its answer."""
        return self.cycle is None or self.cycle.response_complete

    def _look(self) -> None:
        if self.transport.is_closing():
            return
        if self._is_late():
            self.transport.abort()
            return
        self._watch = self.loop.call_later(self.limits.patience / 4, self._look)

    def _is_late(self) -> bool:
        now, patience = self.loop.time(), self.limits.patience
        unsent = self.transport.get_write_buffer_size()
        if unsent != self._unsent or not unsent:
            self._unsent, self._unsent_since = unsent, now
        if now - self._unsent_since > patience:
            return True
        if self.is_waiting:
            return now - self.waits_since > patience
        # What is not read because our own work is not so far is not late.
        if self.conn.their_state is h11.SEND_BODY and not self.flow.read_paused:
            return now - self._heard > patience or now - self._began > self.limits.whole
        return False

    def _make_room(self) -> None:
        """Where there are too many, one that waits is closed; if all are at work, this one."""
        known = cast("Iterable[Any]", self.connections)
        # One that is being closed is still counted for a moment.
        others = [one for one in known if isinstance(one, BoundedProtocol) and not one.transport.is_closing()]
        same = [one for one in others if one.origin == self.origin]
        crowd = same if len(same) > self.limits.of_one else None
        if crowd is None and len(others) > self.limits.most:
            of_each = Counter(one.origin for one in others if one.is_waiting and one is not self)
            origin = of_each.most_common(1)[0][0] if of_each else self.origin
            crowd = [one for one in others if one.origin == origin]
        if crowd is not None:
            waiting = [one for one in crowd if one.is_waiting and one is not self]
            min(waiting, key=lambda one: one.waits_since, default=self).transport.abort()
