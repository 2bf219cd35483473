"""Other findings of a look (a leak, blood, a cloudy cornea...) and what each row of the rules proposes."""

from __future__ import annotations

from datetime import date

from followup.clinical.careplan import Adjustment, Course, Role
from followup.clinical.look import Look, counts_from, never_less
from followup.clinical.proposal import Proposal
from followup.clinical.review_rules import Other, StepPair

_UNSEEN = (None, "not seen", "not done")


def seen(look: Look, finding: str, values: tuple[str | bool, ...]) -> bool:
    return getattr(look.findings, finding) in values


def fires(look: Look, other: Other) -> bool:
    high = other.pressure_at_least
    return (
        look.day >= other.from_day
        and seen(look, other.finding, other.is_)
        and all(look.fact(name) for name in other.when)
        and (high is None or (look.pressure is not None and look.pressure >= high))
        and (look.findings.date - _since(look, other)).days >= other.since_days
    )


def _since(look: Look, other: Other) -> date:
    """The first of the unbroken row of looks that saw this, this look being the last."""
    since = look.findings.date
    for earlier in reversed(look.earlier):
        value = getattr(earlier, other.finding)
        if value in _UNSEEN:
            continue
        if value not in other.is_:
            break
        since = earlier.date
    return since


def propose(look: Look, other: Other) -> Proposal:
    """What a row proposes: courses ended, given or lengthened, never shortened by the way, and looks."""
    changes: list[Adjustment] = [
        look.edit(course.key, (), other.text)
        for role in other.stop
        for course in look.courses(role)
        if look.still_due(course)
    ]
    if other.give:
        steps = ((other.give.count, other.give.days),)
        changes += _given(look, other.give.role, other.give.medicine, steps, other.text)
    if other.steroid:
        changes += look.raised(other.steroid, other.text)
    if other.nsaid_days:
        own = next(iter(look.courses("nsaid")), None)
        medicine = look.protocol.formulary[own.medicine] if own else look.usual("nsaid")
        steps = ((medicine.label_count or 1, other.nsaid_days),)
        changes += _given(look, "nsaid", medicine.id, steps, other.text)
    changes += [need for x in other.look for need in look.seen_again(x.need, x.days, other.text)]
    return Proposal(
        id=other.id,
        eye=look.findings.eye,
        on=look.findings.date,
        about="other",
        title=other.text,
        direction="raise" if other.steroid else "none",
        adjustments=tuple(changes),
        today=other.today,
        reasons=(look.reason(other),),
    )


def _given(
    look: Look, role: Role, medicine: str | None, steps: tuple[StepPair, ...], why: str
) -> list[Adjustment]:
    """``steps`` from tomorrow of the medicine that the eye gets for this already, else of a new one."""
    running = [c for c in look.courses(role) if not c.from_before and medicine in (None, c.medicine)]
    if not running:
        return [look.added(medicine or look.usual(role).id, steps, why)]
    course = max(running, key=_last)
    return [look.edit(course.key, never_less(steps, counts_from(course.steps, look.tomorrow)), why)]


def _last(course: Course) -> date:
    return course.last_day or date.min
