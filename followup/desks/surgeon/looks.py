"""What a look leads to: proposals with reasons, side by side; taken, changed or refused with a reason."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from fastapi import APIRouter, Request, Response

from followup.care.adjusting import MOST_A_DAY, both_plans, joined, read_steps, steps_text
from followup.care.fields.checked import check
from followup.care.planning import draft_plan, with_visits
from followup.clinical import english
from followup.clinical.careplan import Adjustment, CourseAdded, CourseEdit, Question
from followup.clinical.protocol.formulary import label_of
from followup.clinical.record import Findings
from followup.clinical.review.proposal import Outcome, Proposal
from followup.clinical.review.review import accept, review
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.answers import AnswerField, answer_form, asked_once, with_answers
from followup.desks.page.effect import effect_or_nothing
from followup.desks.page.meanwhile import Meanwhile, meanwhile
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first, number_of
from followup.desks.surgeon.eye import DECIDED, EyeCase, OneEye, eye_case, look_fields
from followup.desks.words.texts import Texts
from followup.errors import FollowupError
from followup.records.duties import SURGEON
from followup.records.people.patients import correct_record
from followup.records.plans.plans import open_draft
from followup.records.store.journal import Detail, journal_of
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trips_of
from followup.records.views import PlanVersion
from followup.said import Said, say
from followup.typed import typed

router = APIRouter()
MOST_OFFER_DAYS = 180


@router.get("/patients/{code}/eyes/{eye}/looks/{on}")
def look_page(request: Request, hand: AnyHand, code: str, eye: OneEye, on: date) -> Response:
    case = eye_case(hand, code, eye)
    return _page(request, hand, case, look_of(case, on), {})


@router.post("/patients/{code}/eyes/{eye}/looks/{on}")
def decide(request: Request, hand: AnyHand, code: str, eye: OneEye, on: date, form: AForm) -> Response:
    """Say what the chosen proposals do, store them as a draft to sign, or note that none is followed."""
    case = eye_case(hand, code, eye)
    look = look_of(case, on)
    try:
        outcome = outcome_of_today(hand, case, look)
        if "answer" in form:
            answer_missing(hand, case, outcome, form)
            return go(f"/patients/{case.who.code}/eyes/{eye}/looks/{on}")
        if "refuse" in form:
            refuse_all(hand, case, outcome, first(form, "reason"))
            return go(f"/patients/{case.who.code}/eyes/{eye}")
        if "store" not in form:
            lines = effect_of_choice(hand, case, outcome, form)
            return _page(request, hand, case, look, form, effect=lines)
        return go(f"/plans/{store_choice(hand, case, outcome, form)}")
    except FollowupError as exc:
        return _page(request, hand, case, look, form, error=exc.line, status=status_of(exc))


def outcome_of_today(hand: DeskHand, case: EyeCase, look: Findings) -> Outcome:
    """What a look of today leads to. Error ``look.over`` on another day: nothing of it is taken over."""
    if look.date != hand.today:
        raise FollowupError(
            "look.over",
            say("proposals of another day are not taken over"),
            fix=say("enter the findings of today"),
        )
    return outcome_of(hand, case, look)


def missing_answers(hand: DeskHand, case: EyeCase, outcome: Outcome) -> tuple[Question, ...]:
    """What, once it is answered, may have a class of pressure medicine offered: one question a class."""
    refused = {item.kind: item for p in outcome.proposals for item in p.not_offered if item.fields}
    return tuple(
        Question(id=f"offer-{number}", text=item.why, eye=outcome.eye, fields=item.fields, blocks=False)
        for number, item in enumerate(refused.values(), 1)
    )


def answer_missing(hand: DeskHand, case: EyeCase, outcome: Outcome, form: Posted) -> None:
    """Store the answers as the record's next version: the offers are made again from it.

    Errors: those of the record and of ``correct_record``.
    """
    data = with_answers(missing_answers(hand, case, outcome), case.record, form, hand.today)
    with hand.store.write(hand.actor, hand.now) as unit:
        correct_record(unit, patient_id=case.who.id, record=check(data), seen=case.version.number)
        if open_draft(unit.session, case.who.id):
            draft_plan(unit, hand, case.who.id)


def effect_of_choice(hand: DeskHand, case: EyeCase, outcome: Outcome, form: Posted) -> tuple[str, ...]:
    """What the chosen proposals do, in sentences; nothing is stored."""
    newest, after = _with_choice(hand, case, outcome, form)
    plans = both_plans(hand, case.who.id, newest.id, newest.edits, after)
    return effect_or_nothing(plans, hand.texts, hand.protocol)


def _with_choice(
    hand: DeskHand, case: EyeCase, outcome: Outcome, form: Posted
) -> tuple[PlanVersion, tuple[Adjustment, ...]]:
    if not case.plans:
        raise FollowupError(
            "plan.unknown", say("there is no plan to change"), fix=say("open the record and store it")
        )
    other = _given(form, "other")
    if other and other not in dict(pressure_medicines(hand)):
        raise FollowupError(
            "look.medicine",
            say("{other} is no pressure drop of the formulary", other=other),
            where=say("product"),
            fix=say("choose one"),
        )
    new = chosen_adjustments(outcome, form, hand.actor.name or hand.actor.login)
    return case.plans[0], joined(case.plans[0].edits, new)


def store_choice(hand: DeskHand, case: EyeCase, outcome: Outcome, form: Posted) -> int:
    """Store the chosen proposals as a draft to sign; the plan's id."""
    edits = _with_choice(hand, case, outcome, form)[1]
    reason = first(form, "reason")[:500]
    taken = form.get("take", [])
    chosen = [p for p in outcome.proposals if p.id in taken]
    with hand.store.write(hand.actor, hand.now) as unit:
        made = draft_plan(
            unit,
            hand,
            case.who.id,
            edits=edits,
            reason=reason_of(chosen, reason),
            seen=number_of(first(form, "seen")),
        )
        unit.log(
            DECIDED,
            f"patient:{case.who.code}",
            eye=case.eye,
            taken=titles_of(chosen),
            reason=reason,
            day=outcome.date.isoformat(),
        )
    return made.id


def titles_of(proposals: Iterable[Proposal]) -> Said:
    """The proposals by their titles, a sentence each."""
    return english.joined(english.sentence(proposal.title) for proposal in proposals)


def reason_of(proposals: Iterable[Proposal], reason: str) -> Said:
    """Why a plan is made again: the proposals that are followed, then what the surgeon typed."""
    return english.joined((titles_of(proposals), typed(reason)))


def refuse_all(hand: DeskHand, case: EyeCase, outcome: Outcome, reason: str) -> None:
    """Note that no proposal is followed, and why. Errors: ``look.reason``, ``role.missing``."""
    if not reason:
        raise FollowupError(
            "look.reason",
            say("no reason given"),
            where=say("reason"),
            fix=say("say why no proposal is followed"),
        )
    said: dict[str, Detail] = {
        "eye": case.eye,
        "taken": "",
        "reason": reason[:500],
        "day": outcome.date.isoformat(),
        "proposed": titles_of(outcome.proposals),
    }
    subject = f"patient:{case.who.code}"
    with hand.store.write(hand.actor, hand.now) as unit:
        unit.need_role(*SURGEON)
        decided = [one for one in journal_of(unit.session, subject) if one.action == DECIDED]
        # A form sent twice: the last word about this eye is this one already.
        mine = [one for one in decided if one.details.get("eye") == case.eye][-1:]
        if not mine or (mine[0].actor, mine[0].details) != (hand.actor.login, said):
            unit.log(DECIDED, subject, **said)


def chosen_adjustments(outcome: Outcome, form: Posted, by: str) -> tuple[Adjustment, ...]:
    """The adjustments of the ticked proposals, with steps as the surgeon has changed them."""
    known = {proposal.id: proposal for proposal in outcome.proposals}
    ids = form.get("take", [])
    if not ids or any(name not in known for name in ids):
        raise FollowupError(
            "look.none", say("no proposal is chosen"), where=say("proposals"), fix=say("choose at least one")
        )
    reason = first(form, "reason")
    if not reason:
        raise FollowupError("look.reason", say("no reason given"), where=say("reason"), fix=say("say why"))
    chosen = [_edited(known[name], form) for name in dict.fromkeys(ids)]
    offer, other = _offer(form), _other(form, outcome, by, reason)
    treating = next((p for p in chosen if p.treats), None)
    if treating is not None and offer is None and other is None:
        raise FollowupError(
            "look.medicine",
            say("a pressure medicine is to be added, and none is chosen"),
            where=say("pressure medicine"),
            fix=say("choose the medicine and its days, or follow no proposal and say why"),
        )
    taken = accept(chosen, by=by, reason=reason[:500], offer=offer)
    return (*taken, other) if other else taken


def _other(form: Posted, outcome: Outcome, by: str, reason: str) -> CourseAdded | None:
    """A medicine outside the list, with its dose; what speaks against it is asked in the draft.

    Errors: ``look.days``, ``look.count``.
    """
    medicine = _given(form, "other")
    if not medicine:
        return None
    count = number_of(_given(form, "other_count"))
    days = number_of(_given(form, "other_days"))
    if not 1 <= count <= MOST_A_DAY:
        raise FollowupError(
            "look.count",
            say("not said how many times a day the medicine is given"),
            where=say("times a day"),
            fix=say("give a whole number from 1 to {most_a_day}", most_a_day=MOST_A_DAY),
        )
    if not 1 <= days <= MOST_OFFER_DAYS:
        raise _no_days()
    return CourseAdded(
        eye=outcome.eye, medicine=medicine, starts=outcome.date, steps=((count, days),), reason=reason, by=by
    )


def _given(form: Posted, name: str) -> str:
    """What was typed under a name that several proposals share: of one of them alone."""
    return next((value.strip() for value in form.get(name, []) if value.strip()), "")


def pressure_medicines(hand: DeskHand) -> list[tuple[str, str]]:
    """Every drop for the pressure that the formulary knows: key and name."""
    kinds = {rule.kind for rule in hand.protocol.review.offer}
    found = (
        (key, medicine.label)
        for key, medicine in hand.protocol.formulary.items()
        if kinds & set(medicine.kinds) and medicine.route != "mouth"
    )
    return sorted(found, key=lambda each: each[1].casefold())


def _no_days() -> FollowupError:
    return FollowupError(
        "look.days",
        say("no number of days for the pressure medicine"),
        where=say("days"),
        fix=say("give a whole number from 1 to {most_offer_days}", most_offer_days=MOST_OFFER_DAYS),
    )


def _edited(proposal: Proposal, form: Posted) -> Proposal:
    changed = tuple(
        _with_steps(adjustment, form, f"steps.{proposal.id}.{i}")
        for i, adjustment in enumerate(proposal.adjustments)
    )
    return proposal.model_copy(update={"adjustments": changed})


def _with_steps(adjustment: Adjustment, form: Posted, name: str) -> Adjustment:
    if not isinstance(adjustment, CourseEdit | CourseAdded) or name not in form:
        return adjustment
    typed = first(form, name)
    if typed == steps_text(adjustment.steps):
        return adjustment
    return adjustment.model_copy(update={"steps": read_steps(typed, "steps of the proposal")})


def _offer(form: Posted) -> tuple[str, int] | None:
    medicine, days = _given(form, "offer"), _given(form, "offer_days")
    if not medicine:
        return None
    if not (days.isascii() and days.isdecimal() and 1 <= int(days) <= MOST_OFFER_DAYS):
        raise _no_days()
    return medicine, int(days)


def look_of(case: EyeCase, on: date) -> Findings:
    """What was seen on that day. Error: ``look.unknown``."""
    found = next((look for look in case.looks if look.date == on), None)
    if found is None:
        raise FollowupError(
            "look.unknown", say("nothing was entered on {on}", on=on), fix=say("enter the findings first")
        )
    return found


def outcome_of(hand: DeskHand, case: EyeCase, look: Findings) -> Outcome:
    """What a look leads to beside the plan in force. Errors: those of the review."""
    with hand.store.read() as session:
        calendar = planning_calendar(session, case.who.id)
        record = with_visits(case.record, trips_of(session, case.who.id), look.date)
    base = case.in_force or (case.plans[0] if case.plans else None)
    return review(record, hand.protocol, look, calendar=calendar, edits=base.edits if base else ())


def _asked(
    hand: DeskHand, case: EyeCase, outcome: Outcome | None
) -> tuple[tuple[Question, tuple[AnswerField, ...]], ...]:
    """The missing answers with their fields; nothing on another day than the look's."""
    if outcome is None or outcome.date != hand.today:
        return ()
    found = asked_once(missing_answers(hand, case, outcome), case.record, hand.today)
    return tuple((question, fields) for question, fields in found if fields)


def _seen_lines(look: Findings, texts: Texts) -> Sequence[tuple[str, str]]:
    """What was entered, label and value, in the order of the row."""
    row, rest = look_fields()
    found = look.model_dump(mode="json", exclude_none=True)
    return [
        (
            texts.label(f.of),
            texts.found(found[f.name], f.kind, f.of),
        )
        for f in (*row, *rest)
        if f.name in found
    ]


def _course_name(hand: DeskHand, case: EyeCase, key: str) -> str:
    """A course by its medicine and eye; its key where no plan has it."""
    base = case.in_force or (case.plans[0] if case.plans else None)
    found = next((c for c in base.body.courses if c.key == key), None) if base else None
    if found is None:
        return key
    name = label_of(found.medicine, hand.protocol.formulary)
    return f"{name}, {hand.texts.eye(found.eye)}"


def _title(outcome: Outcome | None, name: str, texts: Texts) -> str:
    """A proposal's title by its id; the id where there is none of that name."""
    proposals = outcome.proposals if outcome else ()
    return next((texts.told(p.title) for p in proposals if p.id == name), name)


def _since(hand: DeskHand, case: EyeCase, typed: Posted) -> Meanwhile | None:
    """What others did to the plan since the page was opened whose form came back."""
    seen = next((p for p in case.plans if p.number == number_of(first(typed, "seen"))), None)
    if seen is None:
        return None
    with hand.store.read() as session:
        return meanwhile(session, hand, seen)


def _page(
    request: Request,
    hand: DeskHand,
    case: EyeCase,
    look: Findings,
    typed: Posted,
    *,
    effect: tuple[str, ...] = (),
    error: str | None = None,
    status: int = 200,
) -> Response:
    outcome, refused = None, None
    try:
        outcome = outcome_of(hand, case, look)
    except FollowupError as exc:
        refused = exc.line
    return show(
        request,
        "look.html",
        status=status,
        case=case,
        who=case.who,
        look=look,
        outcome=outcome,
        asked=_asked(hand, case, outcome),
        form=answer_form(case.record),
        products=pressure_medicines(hand),
        refused=refused,
        seen_lines=_seen_lines(look, hand.texts),
        typed=typed,
        effect=effect,
        error=error,
        steps_text=steps_text,
        course_name=lambda key: _course_name(hand, case, key),
        label_of=lambda key: label_of(key, hand.protocol.formulary),
        newest=case.plans[0] if case.plans else None,
        since=_since(hand, case, typed),
        title_of=lambda name: _title(outcome, name, hand.texts),
    )
