"""Whether a look was done whose time is over: answered by its day, or that it was not done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from followup.clinical.careplan import Question, ReviewNeed
from followup.clinical.plan.notices import question_whether_done
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.said import say

PAST_LOOK = "looked."
"""Before the key of the look in the name of its answer; another day than those offered ends in ``.on``."""

NOT_DONE = "not done"


def past_look(question: Question, needs: Iterable[ReviewNeed]) -> ReviewNeed | None:
    """The look of the plan that a question asks about, if it asks whether one was done."""
    return next((need for need in needs if question.id == question_whether_done(need.key)), None)


def offered(look: ReviewNeed, record: Record, today: date) -> tuple[str, ...]:
    """What can be answered at one press: its own day, the days on which that eye was seen, not done."""
    seen = {review.date for review in record.reviews if review.eye == look.eye}
    days = {look.target, *(day for day in seen if look.earliest <= day <= look.latest)}
    return (*(day.isoformat() for day in sorted(days) if day <= today), NOT_DONE)


def answer_look(
    data: dict[str, Any], look: ReviewNeed, answers: Mapping[str, Sequence[str]], today: date
) -> None:
    """Put the answer into the visits of the record: one that was for this look alone, or did not take place.

    No answer leaves the record as it is. Error ``answers.day`` for a day on which it can't have been.
    """
    name = f"{PAST_LOOK}{look.key}"
    given = next((text for text in (_last(answers, f"{name}.on"), _last(answers, name)) if text), "")
    if not given:
        return
    done = given != NOT_DONE
    day = _day(given, look, today) if done else look.latest
    status = "fulfilled" if done else "noshow"
    visit = {"date": day.isoformat(), "status": status, "served": [look.key]}
    data["trips"] = [*data.get("trips", []), visit]


def _last(answers: Mapping[str, Sequence[str]], name: str) -> str:
    given = answers.get(name, ())
    return given[-1].strip() if given else ""


def _day(text: str, look: ReviewNeed, today: date) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or not look.earliest <= day <= today:
        raise FollowupError(
            "answers.day",
            say("the look can't have been on this day"),
            where=say("done on"),
            fix=say("choose a day from the one on which it was due to today"),
        )
    return day
