"""A review: findings in, proposals out. Nothing changes until a surgeon signs.

Red flags come first and stop every proposal. What was not seen is asked for and never counts as
normal. Proposals that pull opposite ways stand side by side.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from followup.clinical.careplan import Adjustment, Caution, CourseAdded, Question, Reason
from followup.clinical.context import followed_eyes
from followup.clinical.eye_rules import apply_rules
from followup.clinical.look import Look
from followup.clinical.plan import build_plan
from followup.clinical.proposal import Outcome, Proposal
from followup.clinical.protocol import Protocol
from followup.clinical.record import Findings, Record
from followup.clinical.review_cells import persistent, propose_for_cells, severe
from followup.clinical.review_pressure import column, propose_for_pressure, response, row
from followup.clinical.review_rules import Flag, Other, ReviewRules
from followup.errors import FollowupError
from followup.timing.calendar import Calendar

_ALWAYS: tuple[tuple[str, str], ...] = (
    ("cells", "Cells were not seen: grade them, or say why they can't be seen."),
    ("pressure", "The pressure was not measured."),
    ("vision", "Vision was not measured."),
)


def review(
    record: Record,
    protocol: Protocol,
    findings: Findings,
    *,
    calendar: Calendar | None = None,
    edits: tuple[Adjustment, ...] = (),
) -> Outcome:
    """What this look at one eye leads to.

    ``record`` is the record as it was before the look (the look itself may be in it already);
    ``edits`` are the surgeon's changes so far. Raises FollowupError where the eye was not
    operated, the day lies before surgery, or the follow-up of the eye is over.
    """
    look = _look(record, protocol, findings, calendar, edits)
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
        missing=_missing(look),
        response=response(look, rules),
    )
    if senior:
        return outcome
    others = [o for o in rules.other if _fires(look, o)]
    may_raise = not any(o.no_raise for o in others)
    proposals = (
        *propose_for_cells(look, rules, may_raise),
        *propose_for_pressure(look, rules),
        *(_propose(look, o) for o in others),
    )
    return outcome.model_copy(update={"proposals": _opposed(proposals), "notes": _notes(look, rules)})


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
    if plan.refused:
        raise FollowupError(
            "review.by_hand",
            "this patient is followed by hand; the protocol makes no proposals",
            where="findings",
            fix="decide as a senior and write it into the record",
        )
    look = Look(record, protocol, findings, rules, plan)
    ends = [n.latest for n in plan.needs if n.eye == findings.eye]
    ends += [c.last_day for c in look.steroid if c.last_day]
    last = look.last_steroid_day
    if last is not None:
        ends.append(last + timedelta(days=protocol.review.settings.rebound_days))
    over = max(ends, default=day)
    if day > over:
        raise FollowupError(
            "review.ended",
            f"the follow-up of the {findings.eye} eye ended on {over.isoformat()}",
            where="findings: date",
            fix="correct the date, or enter a new operation",
        )
    return look


def _flags(look: Look, rules: ReviewRules) -> list[Caution]:
    found = [
        Caution(id=f.id, text=f.text, eye=look.findings.eye, level="stop", reasons=(look.reason(f),))
        for f in rules.flag
        if _raised(look, f)
    ]
    cells = severe(look, rules)
    return found if cells is None else [*found, cells]


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
    return in_time and _seen(look, flag.finding, flag.is_) and all(look.fact(name) for name in flag.when)


def _seen(look: Look, finding: str, values: tuple[str | bool, ...]) -> bool:
    return getattr(look.findings, finding) in values


def _fires(look: Look, other: Other) -> bool:
    high = other.pressure_at_least
    return (
        look.day >= other.from_day
        and _seen(look, other.finding, other.is_)
        and all(look.fact(name) for name in other.when)
        and (high is None or (look.pressure is not None and look.pressure >= high))
    )


def _propose(look: Look, other: Other) -> Proposal:
    changes: list[Adjustment] = []
    mine = [c for c in look.plan.courses if c.eye == look.findings.eye and c.state != "stopped"]
    for course in mine:
        if course.role in other.stop and course.last_day and course.last_day >= look.tomorrow:
            changes.append(look.edit(course.key, (), other.text))
    if other.give:
        medicine = other.give.medicine or look.protocol.usual_medicine(other.give.role).id
        steps = ((other.give.count, other.give.days),)
        running = [c for c in mine if c.medicine == medicine and not c.from_before]
        if running:
            changes.append(look.edit(running[0].key, steps, other.text))
        else:
            changes.append(look.added(medicine, steps, other.text))
    if other.steroid:
        changes += look.steroid_edits(look.never_less(other.steroid), other.text)
    if other.nsaid_days:
        changes += _nsaid(look, other)
    changes += [look.seen_again(x.need, x.days, other.text) for x in other.look]
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


def _nsaid(look: Look, other: Other) -> list[Adjustment]:
    """The NSAID by its label's count, from tomorrow for at least so many days."""
    own = [
        c
        for c in look.plan.courses
        if c.eye == look.findings.eye and c.role == "nsaid" and c.state != "stopped"
    ]
    medicine = look.protocol.formulary[own[0].medicine] if own else look.protocol.usual_medicine("nsaid")
    steps = ((medicine.label_count or 1, other.nsaid_days or 1),)
    if own:
        return [look.edit(own[0].key, steps, other.text)]
    return [look.added(medicine.id, steps, other.text)]


def _missing(look: Look) -> tuple[Question, ...]:
    """Findings that every look needs and this one does not have."""
    missing = []
    for name, text in _ALWAYS:
        if getattr(look.findings, name) in (None, "not seen", "not done"):
            reason = Reason(
                rule="not-seen",
                because="What was not seen never counts as normal.",
                source="common practice, no source",
                mark="C",
            )
            missing.append(
                Question(
                    id=f"missing-{name}",
                    text=text,
                    eye=look.findings.eye,
                    fields=(f"findings.{name}",),
                    reasons=(reason,),
                )
            )
    return tuple(missing)


def _opposed(proposals: Sequence[Proposal]) -> tuple[Proposal, ...]:
    """Mark proposals that pull opposite ways: they stand side by side and one must be chosen."""
    raising = [p.id for p in proposals if p.direction in ("raise", "hold")]
    lowering = [p.id for p in proposals if p.direction == "lower"]
    marked = []
    for proposal in proposals:
        other = lowering if proposal.direction in ("raise", "hold") else raising
        against = tuple(other) if proposal.direction != "none" else ()
        marked.append(proposal.model_copy(update={"opposes": against}))
    return tuple(marked)


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
    signed = [
        a.model_copy(update={"by": by, "reason": f"{a.reason} {reason}".strip()})
        for p in proposals
        for a in p.adjustments
    ]
    if offer is not None:
        signed.append(_offered(proposals, offer, by, reason))
    return tuple(signed)


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
                    reason=f"{proposal.title} {reason}".strip(),
                    by=by,
                )
    raise FollowupError(
        "review.offer", f'"{medicine}" was not offered', where="proposals", fix="choose an offered medicine"
    )
