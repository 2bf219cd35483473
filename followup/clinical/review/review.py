"""A review: findings in, proposals out. Nothing changes until a surgeon signs.

Red flags come first and stop every proposal. What was not seen is asked for and never counts as
normal. Proposals that pull opposite ways stand side by side.
"""

from __future__ import annotations

from datetime import timedelta

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import Caution, Course, Reason
from followup.clinical.english import joined, listed
from followup.clinical.facts.eye_rules import apply_rules
from followup.clinical.plan.build import build_plan, courses_in_force
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import GRADES, ReviewRules
from followup.clinical.record import Findings, Record
from followup.clinical.record.eye import followed_eyes
from followup.clinical.review.asks import asked_first, missing, waiting, waits_for
from followup.clinical.review.cells import persistent, propose_for_cells
from followup.clinical.review.choosing import accept, ordered
from followup.clinical.review.look import Look
from followup.clinical.review.now import due_today, raised_flags, senior, what_now
from followup.clinical.review.others import fires, propose
from followup.clinical.review.pressure import column, propose_for_pressure, response, row, words_of
from followup.clinical.review.proposal import Outcome, Proposal
from followup.clinical.review.signed import told
from followup.errors import FollowupError
from followup.said import say
from followup.timing.calendar import Calendar

__all__ = ["accept", "review", "with_findings"]


def review(
    record: Record,
    protocol: Protocol,
    findings: Findings,
    *,
    calendar: Calendar | None = None,
    edits: tuple[Adjustment, ...] = (),
) -> Outcome:
    """What this look at one eye leads to.

    The look itself may be in ``record`` already; ``edits`` are the surgeon's changes so far.
    A patient who is followed by hand gets the red flags and no proposal. Raises FollowupError where
    the eye was not operated, the day lies before surgery, or the follow-up of the eye is over.
    """
    look = _look(with_findings(record, findings), protocol, findings, calendar, edits)
    rules = protocol.review
    flags = raised_flags(look, rules)
    called = senior(look, rules, flags)
    expected = rules.expected_cells(look.uveitic, look.day)
    outcome = Outcome(
        eye=findings.eye,
        date=findings.date,
        day=look.day,
        expected=say("no cells expected on day {day}", day=look.day)
        if expected == GRADES[0]
        else say("cells {expected} or fewer expected on day {day}", expected=expected, day=look.day),
        present_count=look.present_count,
        taken_count=look.taken_count,
        senior=called,
        response=response(look, rules),
    )
    if called:
        now, high = what_now(look, rules, flags), _high_pressure(look, rules)
        return outcome.model_copy(update={"now": now, "notes": high})
    asked = missing(look, rules)
    if look.plan.refused:
        return outcome.model_copy(update={"missing": asked, "notes": (_by_hand(look),)})
    proposals = _proposals(look, rules)
    first = asked_first(look, rules, proposals)
    if first:
        proposals = [p for p in proposals if not waits_for(p)]
    return outcome.model_copy(
        update={
            "missing": (*first, *(q for q in asked if q.id not in {f.id for f in first})),
            "waits": waiting(first),
            "proposals": tuple(told(look, proposal) for proposal in ordered(proposals)),
            "notes": _notes(look, rules),
        }
    )


def _proposals(look: Look, rules: ReviewRules) -> list[Proposal]:
    others = [o for o in rules.other if fires(look, o)]
    forbidden = next((o.no_raise for o in others if o.no_raise), "")
    return [
        *propose_for_cells(look, rules, forbidden),
        *_other_drops_again(look),
        *propose_for_pressure(look, rules),
        *(proposal for o in others for proposal in propose(look, o, forbidden)),
    ]


def _other_drops_again(look: Look) -> tuple[Proposal, ...]:
    """Drops that were not taken where no steroid is due among them: started again as ordered."""
    given = [course for course in due_today(look) if course.eye is not None]
    if not look.untaken or look.present_count or not given:
        return ()
    names = listed(look.protocol.formulary[course.medicine].label for course in given)
    reason = Reason(
        rule="restart",
        because=say("Drops that were not taken are started again before anything else is judged."),
        source="common practice, no source",
        mark="C",
    )
    restart = Proposal(
        id="restart",
        eye=look.findings.eye,
        on=look.findings.date,
        about="other",
        title=say("The drops were not taken: start again today what was ordered, {names}.", names=names),
        direction="none",
        today=True,
        reasons=(reason,),
    )
    return (restart,)


def with_findings(record: Record, findings: Findings) -> Record:
    """The record with this look in it, once."""
    if findings in record.reviews:
        return record
    return record.model_copy(update={"reviews": (*record.reviews, findings)})


def _look(
    record: Record,
    protocol: Protocol,
    findings: Findings,
    calendar: Calendar | None,
    edits: tuple[Adjustment, ...],
) -> Look:
    day = findings.date
    ruled = tuple(apply_rules(context, protocol) for context in followed_eyes(record, day))
    rules = next((eye for eye in ruled if eye.eye == findings.eye), None)
    if rules is None:
        operated = [o.date for o in record.operations if o.eye == findings.eye]
        if not operated:
            what = say("the {eye} eye was not operated", eye=findings.eye)
            fix = say("enter the findings of the operated eye")
        else:
            what = say("{day} lies before the operation of {operated}", day=day, operated=min(operated))
            fix = say("correct the date")
        raise FollowupError("review.eye", what, where=say("findings: eye, date"), fix=fix)
    plan = build_plan(record, protocol, as_of=day, calendar=calendar, edits=edits, ruled=ruled)
    look = Look(record, protocol, findings, rules, plan, _in_force(record, protocol, findings, edits))
    if not plan.refused:
        _refuse_ended(look)
    return look


def _in_force(
    record: Record, protocol: Protocol, findings: Findings, edits: tuple[Adjustment, ...]
) -> tuple[Course, ...]:
    """The courses of the plan in force when the patient came: this look and later ones not in it.

    A steroid that an earlier look's finding holds counts as given: its plan was never signed, so the
    patient goes on as before.
    """
    given = _courses_after(record, _before(record, findings), protocol, findings, edits)
    if all(c.state != "held" for c in given if c.role == "steroid" and c.eye == findings.eye):
        return given
    try:
        blind = _courses_after(record, (), protocol, findings, edits)
    except FollowupError:  # an edit of a course that only a look brought into the plan
        return given
    active = {c.key for c in blind if c.state == "active" and c.role == "steroid"}
    free: dict[str, object] = {"state": "active", "held_by": ()}
    return tuple(c.model_copy(update=free) if c.key in active and c.state == "held" else c for c in given)


def _courses_after(
    record: Record,
    looks: tuple[Findings, ...],
    protocol: Protocol,
    findings: Findings,
    edits: tuple[Adjustment, ...],
) -> tuple[Course, ...]:
    past = record.model_copy(update={"reviews": looks})
    return courses_in_force(past, protocol, as_of=findings.date, edits=edits)


def _before(record: Record, findings: Findings) -> tuple[Findings, ...]:
    """The looks before this one; of one day those of an earlier hour, and those at the other eye."""

    def earlier(look: Findings) -> bool:
        if look.date != findings.date or look.eye != findings.eye:
            return look.date <= findings.date
        return look.time is not None and findings.time is not None and look.time < findings.time

    return tuple(look for look in record.reviews if look is not findings and earlier(look))


def _refuse_ended(look: Look) -> None:
    """An eye is followed until its last window has closed and the time of rebounds is over."""
    day, eye = look.findings.date, look.findings.eye
    ends = [n.latest for n in look.plan.needs if n.eye == eye]
    ends += [c.last_day for c in look.plan.courses if c.eye == eye and c.last_day]
    last = look.last_steroid_day
    if last is not None:
        ends.append(last + timedelta(days=look.protocol.review.settings.rebound_days))
    over = max(ends, default=look.rules.day0)
    if day > over or eye not in look.plan.tiers:
        raise FollowupError(
            "review.ended",
            say("the follow-up of the {eye} eye ended on {over}", eye=eye, over=over),
            where=say("findings: date"),
            fix=say("correct the date, or enter a new operation"),
        )


def _by_hand(look: Look) -> Caution:
    return Caution(
        id="by-hand",
        text=say("This patient is followed by hand: the protocol proposes nothing. A senior decides."),
        eye=look.findings.eye,
        level="stop",
        reasons=tuple(reason for caution in look.plan.refused for reason in caution.reasons),
    )


def _notes(look: Look, rules: ReviewRules) -> tuple[Caution, ...]:
    """What a senior should know although proposals stand: cells that stay, a pressure for today."""
    late = persistent(look, rules)
    return (*([late] if late else []), *_high_pressure(look, rules))


def _high_pressure(look: Look, rules: ReviewRules) -> tuple[Caution, ...]:
    found = row(look, rules)
    cell = found.cell(column(look)) if found else None
    if found is None or cell is None or not cell.senior:
        return ()
    text = joined((f"{look.pressure:g} mmHg", words_of(cell, bool(look.remaining))), ": ")
    reason = Reason(rule=f"pressure-{found.id}", because=found.because, source=found.source, mark=found.mark)
    return (Caution(id="pressure-now", text=text, eye=look.findings.eye, level="stop", reasons=(reason,)),)
