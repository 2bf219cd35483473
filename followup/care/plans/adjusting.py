"""Adjustments put together: what a new one overrules, and what all of them do, said before signing."""

from __future__ import annotations

import re
from collections.abc import Iterable

from followup.care.hand import Hand
from followup.care.plans.planning import planned
from followup.clinical.adjustments import Adjustment, CourseEdit
from followup.clinical.careplan import CarePlan
from followup.clinical.protocol.reviews import StepPair
from followup.errors import FollowupError
from followup.records.people.patients import newest_record
from followup.records.plans.plans import plans_of
from followup.said import say

_STEP = re.compile(r"(\d{1,2})\s*[x×*]\s*(\d{1,3})")
MOST_A_DAY, MOST_STEPS = 24, 24


def joined(kept: Iterable[Adjustment], new: Iterable[Adjustment]) -> tuple[Adjustment, ...]:
    """``kept`` without what ``new`` overrules (a course from the same day or later), then ``new``."""
    result = list(kept)
    for change in new:
        result = [old for old in result if not _overruled(old, change)]
        result.append(change)
    return tuple(result)


def _overruled(old: Adjustment, new: Adjustment) -> bool:
    if old.model_copy(update={"reason": "", "by": ""}) == new.model_copy(update={"reason": "", "by": ""}):
        return True
    return (
        isinstance(old, CourseEdit)
        and isinstance(new, CourseEdit)
        and old.course == new.course
        and old.starts >= new.starts
    )


def both_plans(
    hand: Hand, patient_id: int, plan_id: int, before: tuple[Adjustment, ...], after: tuple[Adjustment, ...]
) -> tuple[CarePlan, CarePlan]:
    """The plan ``plan_id`` made again for today, and what ``after`` makes of it.

    Error ``plan.changed`` where that is not the newest version any more.
    """
    with hand.store.read() as session:
        if plans_of(session, patient_id)[0].id != plan_id:
            raise FollowupError(
                "plan.changed",
                say("a newer plan exists"),
                fix=say("open the newest plan and change that one"),
            )
        version = newest_record(session, patient_id)
        return planned(session, hand, version, before), planned(session, hand, version, after)


def read_steps(text: str, where: str) -> tuple[StepPair, ...]:
    """The steps of a line such as ``6 x 7, 4 x 7``; an empty one ends the course. Error ``steps.number``."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    found = [_STEP.fullmatch(part) for part in parts]
    pairs = tuple((int(m[1]), int(m[2])) for m in found if m)
    wrong = len(pairs) != len(parts) or len(pairs) > MOST_STEPS
    if wrong or any(not (0 <= count <= MOST_A_DAY and days >= 1) for count, days in pairs):
        raise FollowupError(
            "steps.number",
            say("these are no steps"),
            where=where,
            fix=say("write times a day x days, such as: 6 x 7, 4 x 7"),
        )
    return pairs
