"""What a look must still hold: what was not seen and is needed, and what is asked before more steroid."""

from __future__ import annotations

from collections.abc import Sequence

from followup.clinical.careplan import Question, Reason
from followup.clinical.protocol.reviews import GRADES, BeforeSteroid, ReviewRules, Timed, ToSee
from followup.clinical.record.base import UNSEEN
from followup.clinical.review.look import Look
from followup.clinical.review.proposal import Proposal
from followup.said import say

_NOTHING = (*UNSEEN, "not asked")


def missing(look: Look, rules: ReviewRules) -> tuple[Question, ...]:
    """Findings that a look at this time needs and this one does not have."""
    return tuple(_question(look, entry) for entry in rules.to_see if _lacks(look, entry))


def to_ask(look: Look, rules: ReviewRules) -> tuple[str, ...]:
    """The findings that a look on this day will be asked for, whatever it sees; those before steroid too."""
    first = (entry for entry in rules.before_steroid if not entry.after_quiet)
    entries = (*rules.to_see, *first)
    return tuple(dict.fromkeys(entry.finding for entry in entries if _lacks(look, entry)))


def asked_first(look: Look, rules: ReviewRules, proposals: Sequence[Proposal]) -> tuple[Question, ...]:
    """What must be answered before a proposal for the steroid is shown: more steroid feeds an infection."""
    raises = any(proposal.direction == "raise" for proposal in proposals)
    return tuple(
        _question(look, entry)
        for entry in rules.before_steroid
        if _lacks(look, entry) and _wanted(look, entry, raises)
    )


def waits_for(proposal: Proposal) -> bool:
    """Whether a proposal is about the steroid of an inflamed eye, or would give more of it."""
    return proposal.about == "inflammation" or proposal.direction == "raise"


def waiting(asked: Sequence[Question]) -> str:
    """That the proposals for the steroid are not shown yet; "" where nothing is asked first."""
    if not asked:
        return ""
    return say("What is asked here is answered first; only then are the proposals for the steroid shown.")


def _wanted(look: Look, entry: BeforeSteroid, raises: bool) -> bool:
    if entry.after_quiet and 0 not in look.grades_before:
        return False
    least = entry.cells_at_least
    many = least is not None and look.cells is not None and look.cells >= GRADES.index(least)
    return many or (entry.raises and raises)


def _lacks(look: Look, entry: ToSee) -> bool:
    unseen = getattr(look.findings, entry.finding) in (*_NOTHING, *entry.or_is)
    given = entry.given is None or look.given(entry.given)
    return in_time(look, entry) and unseen and given and all(look.fact(name) for name in entry.when)


def in_time(look: Look, entry: Timed) -> bool:
    return look.day >= entry.from_day and (entry.to_day is None or look.day <= entry.to_day)


def _question(look: Look, entry: ToSee) -> Question:
    because = say("What was not seen never counts as normal.")
    if isinstance(entry, BeforeSteroid):
        because = say("More steroid on an infection or on lens material left behind can cost the eye.")
    reason = Reason(rule="not-seen", because=because, source="common practice, no source", mark="C")
    return Question(
        id=f"missing-{entry.finding.replace('_', '-')}",
        text=entry.text,
        eye=look.findings.eye,
        fields=(f"findings.{entry.finding}",),
        reasons=(reason,),
    )
