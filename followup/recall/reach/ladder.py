"""The ladder of attempts: what to try next, and whom it has brought before the surgeon."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from followup.clinical.careplan import Tier
from followup.clinical.protocol.recall import RecallRules
from followup.errors import FollowupError
from followup.language.catalogues import N_
from followup.recall.reach.line import ToReach
from followup.recall.reach.next_attempt import NextAttempt, Tried, is_unreachable, next_attempt
from followup.records.desk.attempts import AttemptView, FollowStanding, set_standing
from followup.records.store.store import Unit
from followup.said import say
from followup.typed import typed

Cause = Literal["unreachable", "refused", "ladder ended", "wait for the surgeon"]
# One sentence each for the surgeon (messages of the desk catalogue).
CAUSES: dict[Cause, str] = {
    "unreachable": N_("Nobody could be reached by any way. Decide what is to be done."),
    "refused": N_("The patient does not want to come. Speak with the patient, or accept it."),
    "ladder ended": N_("Every way was tried and the patient has not come. Decide what is to be done."),
    "wait for the surgeon": N_("The surgeon was told and has not decided yet."),
}


@dataclass(frozen=True)
class ForSurgeon:
    """A patient whom only the surgeon can decide about. ``may_be_lost``: the rule allows to say so."""

    line: ToReach
    cause: Cause
    may_be_lost: bool

    @property
    def sentence(self) -> str:
        """The cause in words; a message of the desk catalogue."""
        return CAUSES[self.cause]


def next_for(rules: RecallRules, tier: Tier, tried: Sequence[AttemptView], since: date) -> NextAttempt | None:
    """What the ladder of the tier asks for next."""
    return next_attempt(rules.ladder[tier], _attempts(tried), since)


def for_surgeon(lines: Iterable[ToReach], rules: RecallRules, today: date) -> tuple[ForSurgeon, ...]:
    """Of the list to reach, those whom the ladder has brought to the surgeon by ``today``, in its order."""
    found = []
    for line in lines:
        cause = _cause(line, rules, today)
        if cause is not None:
            found.append(ForSurgeon(line, cause, may_be_lost=_may_be_lost(line, rules)))
    return tuple(found)


def declare_lost(unit: Unit, line: ToReach, rules: RecallRules, *, reason: str) -> FollowStanding:
    """The surgeon says that the patient is lost to follow-up; :func:`set_standing` takes it back.

    Error ``standing.rule`` while the protocol's rule does not allow it.
    """
    if not _may_be_lost(line, rules):
        days = rules.lost[line.tier].days
        raise FollowupError(
            "standing.rule",
            say("{code} can't be lost to follow-up yet", code=typed(line.patient.code)),
            fix=say(
                "try every rung of the ladder first, and wait until {days} days past the last possible day",
                days=days,
            ),
        )
    return set_standing(unit, patient_id=line.patient.id, standing="lost to follow-up", reason=reason)


def _cause(line: ToReach, rules: RecallRules, today: date) -> Cause | None:
    if line.kind != "overdue" or not line.tried:
        return None
    if any(one.outcome == "surgeon told" for one in line.tried):
        return "wait for the surgeon"
    last = line.tried[-1].outcome
    if not _is_the_surgeons(line.next, today) and not _promised_at_the_end(line, rules, today):
        return None
    if last == "refused":
        return "refused"
    unreachable = is_unreachable(rules.ladder[line.tier], _attempts(line.tried))
    return "unreachable" if unreachable else "ladder ended"


def _is_the_surgeons(following: NextAttempt | None, today: date) -> bool:
    """Whether the last rung is due."""
    due = following is not None and following.way == "surgeon" and following.on <= today
    return due and following is not None and not following.repeated


def _promised_at_the_end(line: ToReach, rules: RecallRules, today: date) -> bool:
    """Whether the last rung was due before somebody promised to come: a promise does not take it away."""
    before = [one for one in line.tried if one.outcome != "will come"]
    return bool(before) and _is_the_surgeons(next_for(rules, line.tier, before, line.since), today)


def _may_be_lost(line: ToReach, rules: RecallRules) -> bool:
    told = bool(line.tried) and any(one.way == "surgeon" for one in line.tried)
    return line.kind == "overdue" and told and line.days >= rules.lost[line.tier].days


def _attempts(tried: Sequence[AttemptView]) -> list[Tried]:
    return [Tried(one.day, one.rung, one.outcome, one.promised) for one in tried]
