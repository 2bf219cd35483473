"""Choosing among proposals: which exclude each other, and what the chosen ones change together."""

from __future__ import annotations

from collections.abc import Sequence

from followup.clinical.careplan import Adjustment, CourseAdded, CourseEdit
from followup.clinical.look import never_less
from followup.clinical.proposal import Proposal
from followup.errors import FollowupError
from followup.typed import typed


def opposed(proposals: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """Mark proposals that pull opposite ways: they stand side by side and one must be chosen."""
    return tuple(
        proposal.model_copy(
            update={"opposes": tuple(p.id for p in proposals if p is not proposal and _against(proposal, p))}
        )
        for proposal in proposals
    )


def _against(one: Proposal, two: Proposal) -> bool:
    directions = {one.direction, two.direction}
    if "lower" in directions and directions & {"raise", "hold"}:
        return True
    alternatives = two.id in one.alternative_to or one.id in two.alternative_to
    return not alternatives and (_undoes(one, two) or _undoes(two, one))


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
                f'"{proposal.id}" and "{min(clash)}" exclude each other',
                where="proposals",
                fix="choose one of them",
            )
    signed: list[Adjustment] = []
    for proposal in proposals:
        for adjustment in proposal.adjustments:
            why = f"{adjustment.reason} {typed(reason)}" if reason else adjustment.reason
            _add(signed, adjustment.model_copy(update={"by": by, "reason": why}))
    if offer is not None:
        signed.append(_offered(proposals, offer, by, reason))
    return tuple(signed)


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
        return (old.eye, old.medicine, old.starts) == (new.eye, new.medicine, new.starts)
    return False


def _both(old: Adjustment, new: Adjustment) -> Adjustment:
    if not isinstance(old, CourseEdit | CourseAdded) or not isinstance(new, CourseEdit | CourseAdded):
        return old
    counts = [count for count, days in old.steps for _ in range(days)]
    steps = never_less(new.steps, counts)
    return old.model_copy(update={"steps": steps, "reason": f"{old.reason} {new.reason}"})


def _offered(proposals: Sequence[Proposal], offer: tuple[str, int], by: str, reason: str) -> Adjustment:
    medicine, days = offer
    for proposal in proposals:
        for one in proposal.offers:
            if one.medicine == medicine:
                return CourseAdded(
                    eye=proposal.eye,
                    medicine=medicine,
                    starts=proposal.on,
                    steps=((one.count, days),),
                    reason=f"{proposal.title} {typed(reason)}" if reason else proposal.title,
                    by=by,
                )
    raise FollowupError(
        "review.offer", f'"{medicine}" was not offered', where="proposals", fix="choose an offered medicine"
    )
