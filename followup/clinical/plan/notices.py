"""What is told and asked beside a plan: operations replaced, tiers that gave way, looks nobody wrote down."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from followup.clinical.careplan import Overridden, Question, ReviewNeed
from followup.clinical.english import day_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.keys_told import RISK
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Record
from followup.said import say


def lost_tiers(eyes: Sequence[EyeRules]) -> tuple[Overridden, ...]:
    lost = []
    for eye in eyes:
        tier, setting_it = eye.tier
        for fired in setting_it:
            if fired.rule.tier is not None and fired.rule.tier != tier:
                winner = setting_it[0].rule.id
                lost.append(
                    Overridden(
                        rule=fired.rule.id,
                        wanted=say("pressure risk {tier}", tier=RISK[fired.rule.tier]),
                        lost_to=winner,
                        reason=fired.reason,
                    )
                )
    return tuple(lost)


def unknown_looks(needs: Sequence[ReviewNeed], protocol: Protocol) -> tuple[Question, ...]:
    """Looks whose time is over and of which the record says nothing: asked, never guessed."""
    return tuple(
        Question(
            id=question_whether_done(need.key),
            text=_whether_done(need, text_of(need.kind, protocol.kinds)),
            eye=need.eye,
            fields=("reviews", "trips"),
            reasons=need.reasons,
        )
        for need in needs
    )


def question_whether_done(need: str) -> str:
    """The id of the question whether the look of this key was done."""
    return f"done-{need.replace(':', '-')}"


def _whether_done(need: ReviewNeed, look: str) -> str:
    if need.earliest == need.latest:
        return say("Was this look done on {day}: {look}?", day=day_words(need.latest), look=look)
    return say(
        "Was this look done between {earliest} and {latest}: {look}?",
        earliest=day_words(need.earliest),
        latest=day_words(need.latest),
        look=look,
    )


def replaced(record: Record, eyes: Sequence[EyeRules], as_of: date) -> list[str]:
    told: list[str] = []
    for eye in eyes:
        for operation in record.operations:
            if operation.eye == eye.eye and operation.date < eye.day0 <= as_of:
                told.append(
                    say(
                        "The {eye} eye was operated again on {again}: what was planned after {before} is "
                        "replaced.",
                        eye=eye.eye,
                        again=day_words(eye.day0),
                        before=day_words(operation.date),
                    )
                )
    return told
