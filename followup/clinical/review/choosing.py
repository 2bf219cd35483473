"""Choosing among proposals: which exclude each other, and what the chosen ones change together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import MAXYEAR, date, timedelta

from followup.clinical.adjustments import Adjustment, CourseAdded, CourseEdit, NeedAdded
from followup.clinical.english import joined
from followup.clinical.plan.taper import counts_each_day
from followup.clinical.protocol.reviews import StepPair
from followup.clinical.review.day_counts import never_less
from followup.clinical.review.proposal import Offer, Proposal
from followup.errors import FollowupError
from followup.said import say
from followup.typed import typed


def ordered(proposals: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """The most urgent first; each with the proposals that pull the other way, of which one is chosen."""
    known = {proposal.id for proposal in proposals}
    told = []
    for proposal in sorted(proposals, key=lambda p: min(_urgency(q) for q in _ways(p, proposals))):
        others = [p for p in proposals if p is not proposal]
        beside = [p.id for p in others if p.id in proposal.alternative_to or proposal.id in p.alternative_to]
        against = [p.id for p in others if p.id not in beside and _against(proposal, p)]
        told.append(
            proposal.model_copy(
                update={
                    "alternative_to": tuple(id_ for id_ in beside if id_ in known),
                    "opposes": tuple(against),
                }
            )
        )
    return tuple(told)


def _ways(proposal: Proposal, proposals: Sequence[Proposal]) -> list[Proposal]:
    """A proposal and its alternatives: they stand together, in the order in which the rules prefer them."""
    return [p for p in proposals if p is proposal or p.id in proposal.alternative_to]


def _urgency(proposal: Proposal) -> tuple[bool, bool, int]:
    """Today's before others, drops that were not taken first of them but for a pressure that calls the
    surgeon; then by the day on which the eye is seen again."""
    looks = [change.latest for change in proposal.adjustments if isinstance(change, NeedAdded)]
    soonest = min((day.toordinal() for day in looks), default=MAXYEAR * 366)
    return (not proposal.senior, not proposal.today, 0 if proposal.id == "restart" else soonest)


def _against(one: Proposal, two: Proposal) -> bool:
    directions = {one.direction, two.direction}
    if "lower" in directions and directions & {"raise", "hold", "keep"}:
        return True
    if "keep" in directions and (directions & {"raise", "hold"} or one.direction == two.direction):
        return True
    return _undoes(one, two) or _undoes(two, one)


def _undoes(one: Proposal, two: Proposal) -> bool:
    """Whether ``one`` ends a course that ``two`` changes in another way, or both lower the same one."""
    ends = {a.course for a in one.adjustments if isinstance(a, CourseEdit) and not a.steps}
    changes = {a.course for a in two.adjustments if isinstance(a, CourseEdit) and a.steps}
    both = {p.direction for p in (one, two)} == {"lower"}
    return bool(ends & changes) or both


def accept(
    proposals: Sequence[Proposal], *, by: str, reason: str, offer: tuple[str, int] | None = None
) -> tuple[Adjustment, ...]:
    """The adjustments of the chosen proposals, in the surgeon's name.

    ``offer`` is the pressure medicine chosen among those offered, with its days. Raises
    FollowupError where opposite proposals or alternatives are chosen together, or the medicine
    was not offered.
    """
    chosen = {p.id for p in proposals}
    for proposal in proposals:
        clash = chosen & (set(proposal.opposes) | set(proposal.alternative_to))
        if clash:
            raise FollowupError(
                "review.opposite",
                say('"{id}" and "{clash}" exclude each other', id=proposal.id, clash=min(clash)),
                where=say("proposals"),
                fix=say("choose one of them"),
            )
    signed: list[Adjustment] = []
    for proposal in proposals:
        for adjustment in proposal.adjustments:
            why = _because(adjustment.reason, reason)
            _add(signed, adjustment.model_copy(update={"by": by, "reason": why}))
    if offer is not None:
        signed += _offered(proposals, offer, by, reason)
    return tuple(signed)


def _because(own: str, reason: str) -> str:
    """What the proposal says, then what the surgeon typed."""
    return joined((own, typed(reason))) if reason else own


def _add(signed: list[Adjustment], new: Adjustment) -> None:
    """Two proposals that both want more of one course get the higher count of every day, never the sum."""
    for i, old in enumerate(signed):
        if _same_course(old, new):
            signed[i] = _both(old, new)
            return
    signed.append(new)


def _same_course(old: Adjustment, new: Adjustment) -> bool:
    if isinstance(old, CourseEdit) and isinstance(new, CourseEdit):
        return (old.course, old.starts) == (new.course, new.starts)
    if isinstance(old, CourseAdded) and isinstance(new, CourseAdded):
        return (old.eye, old.medicine) == (new.eye, new.medicine)
    return False


def _both(old: Adjustment, new: Adjustment) -> Adjustment:
    if not isinstance(old, CourseEdit | CourseAdded) or not isinstance(new, CourseEdit | CourseAdded):
        return old
    starts = min(old.starts, new.starts)
    steps = never_less(_from(new, starts), counts_each_day(_from(old, starts)))
    return old.model_copy(
        update={"starts": starts, "steps": steps, "reason": joined((old.reason, new.reason))}
    )


def _from(change: CourseEdit | CourseAdded, day: date) -> tuple[StepPair, ...]:
    """The steps of a change counted from an earlier day: the days before it hold no drop."""
    late = (change.starts - day).days
    return ((0, late), *change.steps) if late else change.steps


def _offered(
    proposals: Sequence[Proposal], offer: tuple[str, int], by: str, reason: str
) -> tuple[Adjustment, ...]:
    """The chosen pressure medicine from today, and the look without which it does not end."""
    medicine, days = offer
    for proposal in proposals:
        for one in proposal.offers:
            if one.medicine == medicine:
                why = _because(proposal.title, reason)
                return _with_last_look(proposal, one, days, by, why)
    raise FollowupError(
        "review.offer",
        say('"{medicine}" was not offered', medicine=medicine),
        where=say("proposals"),
        fix=say("choose an offered medicine"),
    )


def _with_last_look(proposal: Proposal, one: Offer, days: int, by: str, why: str) -> tuple[Adjustment, ...]:
    given = CourseAdded(
        eye=None if one.by_mouth else proposal.eye,
        medicine=one.medicine,
        starts=proposal.on,
        steps=((one.count, days),),
        reason=why,
        by=by,
    )
    last = proposal.on + timedelta(days=days - 1)
    first, target, latest = (max(last - timedelta(days=n), proposal.on) for n in one.last_look)
    tomorrow = proposal.on + timedelta(days=1)
    if latest < tomorrow:
        # A single day's tablets: the look of the proposal itself comes before anything ends.
        return (given,)
    look = NeedAdded(
        eye=proposal.eye,
        need="pressure",
        earliest=max(first, tomorrow),
        target=max(target, tomorrow),
        latest=latest,
        reason=say("A pressure medicine that was added ends only with a look."),
        by=by,
    )
    return (given, look)
