"""The next attempt to reach somebody: by which way, from which day, and when the ladder is at its end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.protocol.recall import AttemptOutcome, Ladder, Way


@dataclass(frozen=True)
class Tried:
    """What was tried on ``day``: the rung (from 0), and what came of it."""

    day: date
    rung: int
    outcome: AttemptOutcome
    promised: date | None = None


@dataclass(frozen=True)
class NextAttempt:
    """What to try next, and from which day on. ``repeated``: the rung was tried before."""

    rung: int
    way: Way
    on: date
    repeated: bool = False


def next_attempt(ladder: Ladder, tried: Sequence[Tried], since: date) -> NextAttempt | None:
    """The next rung; None where the ladder has ended and a person must decide.

    ``tried``: the attempts since ``since``, the day on which the patient became one to reach, oldest
    first. Who promised to come is called again the day after the promise; a second promise that was not
    kept leads on to the next rung. A wrong number makes the
    remaining calls to it useless. Who refuses is told to the surgeon at once.
    """
    if not tried:
        return NextAttempt(0, ladder.rungs[0].way, since + timedelta(days=ladder.rungs[0].after))
    last = tried[-1]
    end = len(ladder.rungs) - 1
    if last.outcome in ("surgeon told", "moved away", "died"):
        return None
    if last.outcome == "will come":
        again = max(last.promised or last.day, last.day) + timedelta(days=1)
        broken = len(tried) > 1 and tried[-2].outcome == "will come"
        rung = min(last.rung + broken, end)
        return NextAttempt(rung, ladder.rungs[rung].way, again, repeated=not broken)
    if last.outcome == "refused" or last.rung >= end:
        return NextAttempt(end, "surgeon", last.day)
    wrong = any(one.outcome == "wrong number" and _way(ladder, one) == "call" for one in tried)
    following = next(
        i for i in range(last.rung + 1, end + 1) if not (wrong and ladder.rungs[i].way == "call")
    )
    rung_ = ladder.rungs[following]
    return NextAttempt(following, rung_.way, last.day + timedelta(days=rung_.after))


def is_unreachable(ladder: Ladder, tried: Sequence[Tried]) -> bool:
    """Every way but the surgeon was tried and nobody could be spoken to."""
    reached = ("will come", "refused", "moved away", "died", "second contact told")
    spoken = any(attempt.outcome in reached for attempt in tried)
    return not spoken and bool(tried) and tried[-1].rung >= len(ladder.rungs) - 2


def _way(ladder: Ladder, attempt: Tried) -> Way:
    return ladder.rungs[min(attempt.rung, len(ladder.rungs) - 1)].way
