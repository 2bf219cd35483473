"""A review: findings in, proposals out. Nothing changes until a surgeon signs.

Red flags come first and stop every proposal. What was not seen is asked for and never counts as
normal. Proposals that pull opposite ways stand side by side.
"""

from __future__ import annotations

from datetime import timedelta

from followup.clinical.careplan import Adjustment, Caution, Question, Reason
from followup.clinical.choosing import accept, opposed
from followup.clinical.context import followed_eyes
from followup.clinical.eye_rules import apply_rules
from followup.clinical.look import Look
from followup.clinical.plan import build_plan
from followup.clinical.proposal import Outcome
from followup.clinical.protocol import Protocol
from followup.clinical.record import Findings, Record
from followup.clinical.review_cells import persistent, propose_for_cells, severe
from followup.clinical.review_others import fires, propose, seen
from followup.clinical.review_pressure import column, propose_for_pressure, response, row
from followup.clinical.review_rules import Flag, ReviewRules, ToSee
from followup.errors import FollowupError
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
    senior = tuple(_flags(look, rules))
    expected = rules.expected_cells(look.uveitic, look.day)
    outcome = Outcome(
        eye=findings.eye,
        date=findings.date,
        day=look.day,
        expected=f"cells {expected} or fewer expected on day {look.day}",
        present_count=look.present_count,
        senior=senior,
        missing=_missing(look, rules),
        response=response(look, rules),
    )
    if senior:
        return outcome
    if look.plan.refused:
        return outcome.model_copy(update={"notes": (_by_hand(look),)})
    others = [o for o in rules.other if fires(look, o)]
    may_raise = not any(o.no_raise for o in others)
    proposals = (
        *propose_for_cells(look, rules, may_raise),
        *propose_for_pressure(look, rules),
        *(propose(look, o) for o in others),
    )
    return outcome.model_copy(update={"proposals": opposed(proposals), "notes": _notes(look, rules)})


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
    contexts = [c for c in followed_eyes(record, day) if c.eye == findings.eye]
    if not contexts:
        operated = [o.date for o in record.operations if o.eye == findings.eye]
        if not operated:
            what, fix = f"the {findings.eye} eye was not operated", "enter the findings of the operated eye"
        else:
            what = f"{day.isoformat()} lies before the operation of {min(operated).isoformat()}"
            fix = "correct the date"
        raise FollowupError("review.eye", what, where="findings: eye, date", fix=fix)
    rules = apply_rules(contexts[0], protocol)
    plan = build_plan(record, protocol, as_of=day, calendar=calendar, edits=edits)
    look = Look(record, protocol, findings, rules, plan)
    if not plan.refused:
        _refuse_ended(look)
    return look


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
            f"the follow-up of the {eye} eye ended on {over.isoformat()}",
            where="findings: date",
            fix="correct the date, or enter a new operation",
        )


def _flags(look: Look, rules: ReviewRules) -> list[Caution]:
    found = [
        Caution(id=f.id, text=f.text, eye=look.findings.eye, level="stop", reasons=(look.reason(f),))
        for f in rules.flag
        if _raised(look, f)
    ]
    cells = severe(look, rules)
    return found if cells is None else [*found, cells]


def _by_hand(look: Look) -> Caution:
    return Caution(
        id="by-hand",
        text="This patient is followed by hand: the protocol proposes nothing. A senior decides.",
        eye=look.findings.eye,
        level="stop",
        reasons=tuple(reason for caution in look.plan.refused for reason in caution.reasons),
    )


def _notes(look: Look, rules: ReviewRules) -> tuple[Caution, ...]:
    """What a senior should know although proposals stand: cells that stay, a pressure for today."""
    late = persistent(look, rules)
    found = [late] if late else []
    pressure = row(look, rules)
    if pressure is not None and pressure.cell(column(look)).senior:
        text = f"{look.pressure:g} mmHg: {pressure.cell(column(look)).text}"
        rule = f"pressure-{pressure.id}"
        reason = Reason(rule=rule, because=text, source="common practice, no source", mark="C")
        found.append(
            Caution(id="pressure-now", text=text, eye=look.findings.eye, level="stop", reasons=(reason,))
        )
    return tuple(found)


def _raised(look: Look, flag: Flag) -> bool:
    in_time = look.day >= flag.from_day and (flag.to_day is None or look.day <= flag.to_day)
    high = flag.pressure_at_least
    return (
        in_time
        and seen(look, flag.finding, flag.is_)
        and all(look.fact(name) for name in flag.when)
        and (high is None or (look.pressure is not None and look.pressure >= high))
    )


def _missing(look: Look, rules: ReviewRules) -> tuple[Question, ...]:
    """Findings that a look at this time needs and this one does not have."""
    return tuple(_asked(look, entry) for entry in rules.to_see if _lacks(look, entry))


def _lacks(look: Look, entry: ToSee) -> bool:
    in_time = look.day >= entry.from_day and (entry.to_day is None or look.day <= entry.to_day)
    nothing = (None, "not seen", "not done", "not asked", *entry.or_is)
    unseen = getattr(look.findings, entry.finding) in nothing
    return in_time and unseen and all(look.fact(name) for name in entry.when)


def _asked(look: Look, entry: ToSee) -> Question:
    reason = Reason(
        rule="not-seen",
        because="What was not seen never counts as normal.",
        source="common practice, no source",
        mark="C",
    )
    return Question(
        id=f"missing-{entry.finding.replace('_', '-')}",
        text=entry.text,
        eye=look.findings.eye,
        fields=(f"findings.{entry.finding}",),
        reasons=(reason,),
    )
