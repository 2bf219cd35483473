"""Other findings of a look (a leak, blood, a cloudy cornea...) and what each row of the rules proposes."""

from __future__ import annotations

from datetime import date

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import Course, Reason
from followup.clinical.english import joined, listed, steps_words, window_words
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.reviews import Careful, OtherFinding, OtherLook, StepPair
from followup.clinical.record.base import UNSEEN, MedicineRole
from followup.clinical.review.day_counts import counts_from, never_less
from followup.clinical.review.look import Look
from followup.clinical.review.proposal import Proposal
from followup.said import fill


def seen(look: Look, finding: str, values: tuple[str | bool, ...]) -> bool:
    return getattr(look.findings, finding) in values


def fires(look: Look, other: OtherFinding) -> bool:
    high = other.pressure_at_least
    return (
        look.day >= other.from_day
        and seen(look, other.finding, other.is_)
        and all(look.fact(name) for name in other.when)
        and (high is None or (look.pressure is not None and look.pressure >= high))
        and (look.findings.date - _since(look, other)).days >= other.since_days
    )


def _since(look: Look, other: OtherFinding) -> date:
    """The first of the unbroken row of looks that saw this, this look being the last."""
    since = look.findings.date
    for earlier in reversed(look.earlier):
        value = getattr(earlier, other.finding)
        if value in UNSEEN:
            continue
        if value not in other.is_:
            break
        since = earlier.date
    return since


def propose(look: Look, other: OtherFinding, forbidden: str) -> tuple[Proposal, ...]:
    """What a row proposes: courses ended, given or lengthened, never shortened by the way, and looks.

    ``forbidden``: what forbids more steroid at this look; the row then does without it, as it does without
    an NSAID that is blocked. Where the row says for which eyes the steroid is the second choice, the NSAID
    alone comes first and the two are alternatives.
    """
    if not other.nsaid_days:
        return (_made(look, other, other.id, other.text, steroid=bool(other.steroid and not forbidden)),)
    usual = _nsaid(look)
    nsaid = None if look.against(usual, stops_only=True) else usual
    alone = _made(look, other, f"{other.id}-nsaid", other.nsaid_text or other.text, nsaid=nsaid)
    if nsaid is None:
        alone = _made(look, other, f"{other.id}-neither", other.bare_text)
    if forbidden or not other.steroid:
        return (alone,)
    text = other.text if nsaid else other.steroid_text
    if other.careful is None or not _is_careful(look, other.careful):
        return (_made(look, other, other.id, text, nsaid=nsaid, steroid=True),)
    return _side_by_side(look, other.careful, alone, _careful_way(look, other, other.careful, text, nsaid))


def _careful_way(
    look: Look, other: OtherFinding, careful: Careful, text: str, nsaid: Medicine | None
) -> Proposal:
    whole = f"{text} {careful.text}"
    return _made(look, other, other.id, whole, nsaid=nsaid, steroid=True, more=careful.look)


def _side_by_side(look: Look, careful: Careful, first: Proposal, second: Proposal) -> tuple[Proposal, ...]:
    """The NSAID first; the potent steroid as the other way, with its pressure looked at soon."""
    reason = Reason(rule=second.id, because=careful.because, source=careful.source, mark=careful.mark)
    return (
        first.model_copy(update={"alternative_to": (second.id,), "reasons": (reason, *first.reasons)}),
        second.model_copy(update={"alternative_to": (first.id,), "reasons": (reason, *second.reasons)}),
    )


def _is_careful(look: Look, careful: Careful) -> bool:
    """Whether the pressure of this eye is high, unknown or in danger from steroid."""
    high = look.pressure is None or look.pressure >= careful.pressure_at_least
    return high or any(look.fact(name) for name in careful.when_any)


def _made(
    look: Look,
    other: OtherFinding,
    id_: str,
    text: str,
    *,
    nsaid: Medicine | None = None,
    steroid: bool = False,
    more: tuple[OtherLook, ...] = (),
) -> Proposal:
    today = look.findings.date
    given = _medicine(look, other) if other.give else None
    title = said(other, text, given, nsaid)
    changes: list[Adjustment] = [
        look.edit(course.key, (), title, today)
        for role in other.stop
        for course in look.courses(role)
        if course.last_day is not None and course.last_day >= today
    ]
    if other.give and given:
        steps = ((other.give.count, other.give.days),)
        changes += _given(look, other.give.role, given, steps, title, own=other.give.medicine is None)
    raised = look.raised(other.steroid, title) if steroid else ()
    changes += raised
    if nsaid and other.nsaid_days:
        steps = ((nsaid.label_count or 1, other.nsaid_days),)
        changes += _given(look, "nsaid", nsaid, steps, title, own=True)
    looks = (*more, *other.look)
    changes += [need for x in looks for need in look.seen_again(x.need, x.days, title)]
    return Proposal(
        id=id_,
        eye=look.findings.eye,
        on=today,
        about="other",
        title=title,
        direction="raise" if raised else "none",
        adjustments=tuple(changes),
        today=other.today,
        reasons=(look.reason(other),),
    )


def said(other: OtherFinding, text: str, given: Medicine | None, nsaid: Medicine | None) -> str:
    """The row's words with its own figures in them; ``given`` and ``nsaid`` are what it would give."""
    values = {
        "looks": _windows(other.look),
        "steroid": steps_words(other.steroid),
        "since_days": f"{other.since_days}",
        "careful_looks": _windows(other.careful.look) if other.careful else "",
        "give": "",
        "nsaid": "",
    }
    if other.give and given:
        values["give"] = joined((given.label, steps_words(((other.give.count, other.give.days),))), ", ")
    if nsaid and other.nsaid_days:
        values["nsaid"] = joined(
            (nsaid.label, steps_words(((nsaid.label_count or 1, other.nsaid_days),))), ", "
        )
    return fill(text, **values)


def _windows(looks: tuple[OtherLook, ...]) -> str:
    return listed(window_words(look.days) for look in looks)


def _nsaid(look: Look) -> Medicine:
    """The NSAID that the eye gets already, else the usual one."""
    own = next(iter(look.courses("nsaid")), None)
    return look.protocol.formulary[own.medicine] if own else look.fitting("nsaid")


def _medicine(look: Look, other: OtherFinding) -> Medicine:
    """What a row gives: the medicine it names, else what the eye gets of that role, else the usual one."""
    assert other.give is not None
    if other.give.medicine:
        return look.protocol.formulary[other.give.medicine]
    running = [c for c in look.courses(other.give.role) if not c.from_before]
    if running:
        return look.protocol.formulary[max(running, key=_last).medicine]
    return look.fitting(other.give.role)


def _given(
    look: Look, role: MedicineRole, medicine: Medicine, steps: tuple[StepPair, ...], why: str, *, own: bool
) -> list[Adjustment]:
    """``steps`` from tomorrow of the medicine that the eye gets for this already, else of a new one.

    ``own``: any medicine of that role will do, not the named one alone.
    """
    courses = [c for c in look.courses(role) if not c.from_before]
    running = [c for c in courses if own or c.medicine == medicine.id]
    if not running:
        return [look.added(medicine.id, steps, why)]
    course = max(running, key=_last)
    return [look.edit(course.key, never_less(steps, counts_from(course.steps, look.tomorrow)), why)]


def _last(course: Course) -> date:
    return course.last_day or date.min
