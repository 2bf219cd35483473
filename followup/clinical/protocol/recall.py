"""How a clinic reaches those who did not come, as data, and which attempt is next."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, StringConstraints, model_validator

from followup.clinical.careplan import Tier
from followup.clinical.protocol.parts import ProtocolPart, Reasoned
from followup.errors import FollowupError

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


class Rung(ProtocolPart):
    """One way of reaching someone, due ``after`` days since the attempt before."""

    way: Way
    after: int = Field(ge=0, le=60)


class Ladder(Reasoned):
    """The ways in their order. It ends with the surgeon, so that nobody is forgotten at its end."""

    rungs: tuple[Rung, ...] = Field(min_length=2, max_length=12)

    @model_validator(mode="after")
    def _ends_with_the_surgeon(self) -> Ladder:
        ways = [rung.way for rung in self.rungs]
        if ways[-1] != "surgeon" or "surgeon" in ways[:-1]:
            raise ValueError("the last rung, and no other, tells the surgeon")
        return self


class PromiseRule(Reasoned):
    """A promised day counts up to so many days from today; ``open_days``: closed ones are not counted."""

    days: int = Field(ge=0, le=30)
    open_days: bool


class LostRule(Reasoned):
    """Lost to follow-up may be said from so many days past the last possible day on."""

    days: int = Field(ge=14, le=730)


class MessageRules(Reasoned):
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


class RecallRules(ProtocolPart):
    """The ladders and limits of a clinic, by tier."""

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


def refuse_outcome(way: Way, outcome: AttemptOutcome) -> None:
    """Error ``attempt.outcome`` where this can't come of that way."""
    if outcome not in OUTCOMES[way]:
        raise FollowupError(
            "attempt.outcome",
            f"{outcome} can't come of: {way}",
            where="outcome",
            fix=f"choose from {', '.join(OUTCOMES[way])}",
        )
