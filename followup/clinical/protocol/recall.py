"""How a clinic reaches those who did not come, as data, and which attempt is next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from followup.clinical.careplan import Tier
from followup.clinical.protocol.lines import load_toml, toml_problem
from followup.errors import FollowupError
from followup.said import MaySay

RECALL = Path(__file__).resolve().parents[1] / "data" / "recall.toml"

Way = Literal["call", "second contact", "community worker", "surgeon"]
AttemptOutcome = Literal[
    "will come",
    "no answer",
    "wrong number",
    "refused",
    "moved away",
    "died",
    "second contact told",
    "community worker sent",
    "surgeon told",
]
# What can come of each way; the rest would be a slip of the pen.
OUTCOMES: dict[Way, tuple[AttemptOutcome, ...]] = {
    "call": ("will come", "no answer", "wrong number", "refused", "moved away", "died"),
    "second contact": (
        "second contact told", "will come", "no answer", "wrong number", "refused", "moved away", "died"
    ),
    "community worker": ("community worker sent", "will come", "no answer", "refused", "moved away", "died"),
    "surgeon": ("surgeon told", "will come", "refused", "moved away", "died"),
}  # fmt: skip
_Clock = Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]


class _Sourced(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    because: Annotated[str, StringConstraints(min_length=1, max_length=300), MaySay]
    source: Annotated[str, StringConstraints(min_length=1, max_length=300), MaySay]
    mark: Literal["P", "S", "M", "C"]


class Rung(BaseModel):
    """One way of reaching someone, due ``after`` days since the attempt before."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    way: Way
    after: int = Field(ge=0, le=60)


class Ladder(_Sourced):
    """The ways in their order. It ends with the surgeon, so that nobody is forgotten at its end."""

    rungs: tuple[Rung, ...] = Field(min_length=2, max_length=12)

    @model_validator(mode="after")
    def _ends_with_the_surgeon(self) -> Ladder:
        ways = [rung.way for rung in self.rungs]
        if ways[-1] != "surgeon" or "surgeon" in ways[:-1]:
            raise ValueError("the last rung, and no other, tells the surgeon")
        return self


class PromiseRule(_Sourced):
    """A promised day counts up to so many days from today; ``open_days``: closed ones are not counted."""

    days: int = Field(ge=0, le=30)
    open_days: bool


class LostRule(_Sourced):
    """Lost to follow-up may be said from so many days past the last possible day on."""

    days: int = Field(ge=14, le=730)


class MessageRules(_Sourced):
    """When messages go out, local to the clinic."""

    quiet_from: _Clock
    quiet_until: _Clock
    reminder_days: int = Field(ge=1, le=7)
    missed_for_days: int = Field(ge=1, le=90)

    @model_validator(mode="after")
    def _some_of_the_day_is_left(self) -> MessageRules:
        if not self.quiet_until < self.quiet_from:
            raise ValueError("quiet_until must lie before quiet_from, on the same day")
        return self


class RecallRules(BaseModel):
    """The ladders and limits of a clinic, by tier."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    ladder: dict[Tier, Ladder]
    promise: dict[Tier, PromiseRule]
    lost: dict[Tier, LostRule]
    messages: MessageRules

    @model_validator(mode="after")
    def _every_tier_has_both(self) -> RecallRules:
        for tier in get_args(Tier):
            if any(tier not in table for table in (self.ladder, self.promise, self.lost)):
                raise ValueError(f"tier {tier} needs a ladder, a limit for promises and a rule for the lost")
        return self


@dataclass(frozen=True)
class Attempt:
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


def next_attempt(ladder: Ladder, tried: Sequence[Attempt], since: date) -> NextAttempt | None:
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


def is_unreachable(ladder: Ladder, tried: Sequence[Attempt]) -> bool:
    """Every way but the surgeon was tried and nobody could be spoken to."""
    reached = ("will come", "refused", "moved away", "died", "second contact told")
    spoken = any(attempt.outcome in reached for attempt in tried)
    return not spoken and bool(tried) and tried[-1].rung >= len(ladder.rungs) - 2


def load_recall_rules(path: Path = RECALL) -> RecallRules:
    """The rules of a file, or a FollowupError that names file and line."""
    data, locate = load_toml(path)
    try:
        return RecallRules.model_validate(data)
    except ValidationError as exc:
        raise toml_problem(exc, path, locate, code="recall.field") from None


def refuse_outcome(way: Way, outcome: AttemptOutcome) -> None:
    """Error ``attempt.outcome`` where this can't come of that way."""
    if outcome not in OUTCOMES[way]:
        raise FollowupError(
            "attempt.outcome",
            f"{outcome} can't come of: {way}",
            where="outcome",
            fix=f"choose from {', '.join(OUTCOMES[way])}",
        )


def _way(ladder: Ladder, attempt: Attempt) -> Way:
    return ladder.rungs[min(attempt.rung, len(ladder.rungs) - 1)].way
