"""Handing messages on, each in a thread of its own with a time limit: none holds up another, or the program.

A way out that hangs keeps at most a few threads; while they hang nothing more is given to it. They
are thrown away with the program, and their messages are tried again under the same key.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable
from typing import ParamSpec, TypeVar

from followup.recall.messages.channels import NotSentError
from followup.records.people.messages import Message

# Seconds: how long one try may take, and how long a pass goes on giving out new ones.
LONGEST_TRY, LONGEST_PASS = 45.0, 60.0
# Tries of one way out that may be under way at once.
MOST_AT_ONCE = 4
# So long a message is waited for before the next is begun: whoever answers at once is served in order.
SOON = 1.0
_TICK = 0.02
_log = logging.getLogger(__name__)
_hanging: Counter[str] = Counter()
_counting = threading.Lock()

P = ParamSpec("P")
R = TypeVar("R")
Begin = Callable[[Message], Callable[[], None] | None]
End = Callable[[Message, BaseException | None], None]


class NoAnswerError(NotSentError):
    """The way out said nothing within the time: whether the message arrived can't be told."""

    def __init__(self) -> None:
        super().__init__(f"no answer within {LONGEST_TRY:.0f} seconds")


class _Try:
    """One message on its way."""

    def __init__(self, message: Message, send: Callable[[], None]) -> None:
        self.message, self._send = message, send
        self.problem: BaseException | None = None
        self.done = threading.Event()
        self.until = time.monotonic() + LONGEST_TRY
        with _counting:
            _hanging[message.channel] += 1
        # Thrown away with the program: a way out that hangs must not keep it from ending.
        threading.Thread(target=self._run, name=f"message {message.key}", daemon=True).start()

    def _run(self) -> None:
        try:
            self._send()
        except BaseException as exc:
            self.problem = exc
        finally:
            with _counting:
                _hanging[self.message.channel] -= 1
            self.done.set()


def hand_on(
    messages: Iterable[Message], begin: Begin, end: End, *, stopped: Callable[[], bool]
) -> frozenset[str]:
    """Begin each message where its way out has room, and ``end`` each that answers or takes too long.

    The ways out whose earlier tries all still hang come back: nothing was given to them.
    ``begin`` and ``end`` are called one at a time. What raises is logged and keeps back no other.
    """
    waiting, under_way = list(messages), list[_Try]()
    last = time.monotonic() + LONGEST_PASS
    while (waiting or under_way) and not stopped():
        _collect(under_way, end)
        following = next((one for one in waiting if _has_room(one.channel)), None)
        if following is None or time.monotonic() > last:
            if not under_way:
                return frozenset(one.channel for one in waiting if not _has_room(one.channel))
            if time.monotonic() > last:
                waiting.clear()
            time.sleep(_TICK)
            continue
        waiting.remove(following)
        send = _safely(begin, following)
        if send is not None:
            under_way.append(_Try(following, send))
            _wait(under_way[-1], stopped)
    return frozenset()


def _has_room(channel: str) -> bool:
    with _counting:
        return _hanging[channel] < MOST_AT_ONCE


def _wait(one: _Try, stopped: Callable[[], bool]) -> None:
    until = time.monotonic() + SOON
    while time.monotonic() < until and not stopped() and not one.done.wait(_TICK):
        pass


def _collect(under_way: list[_Try], end: End) -> None:
    for one in list(under_way):
        late = time.monotonic() > one.until
        if one.done.is_set() or late:
            under_way.remove(one)
            problem = one.problem if one.done.is_set() else NoAnswerError()
            _safely(end, one.message, problem)


def _safely(do: Callable[P, R], *given: P.args, **named: P.kwargs) -> R | None:
    try:
        return do(*given, **named)
    except Exception:
        # The store may be busy, or one row bad: the claim runs out and the message is tried again.
        _log.exception("a message can't be worked on")
        return None
