"""What a look leads to: proposals with reasons, side by side; taken, changed or refused with a reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

from fastapi import APIRouter, Request, Response

from followup.care.act import OneEye
from followup.care.fields.shape import Field
from followup.care.looks.choosing import (
    MOST_OFFER_DAYS,
    Choice,
    OtherSteps,
    StepSent,
    must_be_chosen,
    plans_of_choice,
    pressure_medicines,
    store_choice,
)
from followup.care.looks.eye_case import EyeCase, eye_case
from followup.care.looks.looks import (
    Refusal,
    answer_missing,
    go_on,
    led_to,
    look_of,
    missing_answers,
    nothing_to_change,
    outcome_of_today,
    refuse_all,
)
from followup.care.plans.adjusting import MOST_A_DAY, read_steps
from followup.care.plans.answers import AnswerField, asked_once, with_answers
from followup.clinical.adjustments import CourseAdded, CourseEdit
from followup.clinical.careplan import Question
from followup.clinical.english import steps_text
from followup.clinical.protocol.formulary import label_of
from followup.clinical.record import Findings
from followup.clinical.review.proposal import Outcome, Proposal
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.forms.sheet import FormView, answer_form
from followup.desks.page.effect import effect_or_nothing
from followup.desks.page.meanwhile import Meanwhile, meanwhile
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, act_of, answers_of, as_typed, first, number_of
from followup.desks.surgeon.findings_row import again, findings_row
from followup.desks.words.texts import Texts
from followup.errors import FollowupError
from followup.said import say

router = APIRouter()
# The controls beside which a refusal stands, by its code.
_REFUSED = {
    "look.reason": "reason",
    "look.medicine": "medicine",
    "look.days": "days",
    "look.count": "count",
    "look.none": "take",
    "review.opposite": "take",
    "review.offer": "medicine",
    "steps.number": "steps",
}


@router.get("/patients/{code}/eyes/{eye}/looks/{on}")
def look_page(request: Request, hand: AnyHand, code: str, eye: OneEye, on: date) -> Response:
    case = eye_case(hand, code, eye)
    return _page(request, hand, case, look_of(case, on), {})


@router.post("/patients/{code}/eyes/{eye}/looks/{on}")
def decide(request: Request, hand: AnyHand, code: str, eye: OneEye, on: date, form: AForm) -> Response:
    """Say what the chosen proposals do, store them as a draft to sign, or note that none is followed."""
    case = eye_case(hand, code, eye)
    look = look_of(case, on)
    here = f"/patients/{case.who.code}/eyes/{eye}"
    if alone := first(form, "only"):
        form = form | {"take": [alone], "store": ["yes"]}
    try:
        outcome = outcome_of_today(hand, case, look)
        if "answer" in form:
            data = with_answers(missing_answers(outcome), case.record, answers_of(form), hand.today)
            answer_missing(hand, case, data)
            return go(f"{here}/looks/{on}")
        if "refuse" in form:
            refuse_all(hand, case, outcome, as_typed(Refusal, reason=first(form, "reason")))
            return go(here)
        if "go_on" in form:
            go_on(hand, case, outcome)
            return go(here)
        chosen = _choice(hand, case, outcome, form)
        if "store" not in form:
            plans = plans_of_choice(hand, case, outcome, chosen)
            lines = effect_or_nothing(plans, hand.texts, hand.protocol)
            return _page(request, hand, case, look, form, effect=lines)
        return go(f"/plans/{store_choice(hand, case, outcome, chosen)}")
    except FollowupError as exc:
        return _page(request, hand, case, look, form, error=exc)


def still_asked(
    request: Request, hand: DeskHand, case: EyeCase, form: Posted, exc: FollowupError
) -> Response:
    """The page of today's look again, with what was typed for the findings that it still lacked."""
    return _page(request, hand, case, look_of(case, hand.today), {}, error=exc, examined=again(form, exc))


def _choice(hand: DeskHand, case: EyeCase, outcome: Outcome, form: Posted) -> Choice:
    """The proposals that are ticked, with what was typed beside them.

    Errors: those of ``must_be_chosen``, ``steps.number``, ``look.days``, ``look.count``.
    """
    take, reason, other = form.get("take", []), first(form, "reason"), _given(form, "other")
    chosen = [one for name in dict.fromkeys(take) for one in outcome.proposals if one.id == name]
    steps = [steps for proposal in chosen for steps in _other_steps(proposal, form)]
    departs = bool(other or steps)
    must_be_chosen(hand, case, outcome, take=take, reason=reason, other=other, departs=departs)
    return act_of(
        Choice,
        {
            "take": take,
            "reason": reason[:500],
            "seen": number_of(first(form, "seen")),
            "steps": steps,
            "offer": _offer(form),
            "other": _other(form, other),
        },
    )


def _other_steps(proposal: Proposal, form: Posted) -> Iterator[OtherSteps]:
    """The steps of a proposal that the surgeon has typed anew."""
    for i, adjustment in enumerate(proposal.adjustments):
        name = f"steps.{proposal.id}.{i}"
        if not isinstance(adjustment, CourseEdit | CourseAdded) or name not in form:
            continue
        typed = first(form, name)
        if typed != steps_text(adjustment.steps):
            read = read_steps(typed, "steps of the proposal")
            steps = [StepSent(times_a_day=count, days=days) for count, days in read]
            yield OtherSteps(proposal=proposal.id, adjustment=i, steps=steps)


def _offer(form: Posted) -> dict[str, object] | None:
    medicine, days = _given(form, "offer"), _given(form, "offer_days")
    return {"medicine": medicine, "days": _days(days)} if medicine else None


def _other(form: Posted, medicine: str) -> dict[str, object] | None:
    if not medicine:
        return None
    count = number_of(_given(form, "other_count"))
    if not 1 <= count <= MOST_A_DAY:
        raise FollowupError(
            "look.count",
            say("not said how many times a day the medicine is given"),
            where=say("times a day"),
            fix=say("give a whole number from 1 to {most_a_day}", most_a_day=MOST_A_DAY),
        )
    return {"medicine": medicine, "times_a_day": count, "days": _days(_given(form, "other_days"))}


def _days(text: str) -> int:
    days = number_of(text)
    if not 1 <= days <= MOST_OFFER_DAYS:
        raise FollowupError(
            "look.days",
            say("no number of days for the pressure medicine"),
            where=say("days"),
            fix=say("give a whole number from 1 to {most_offer_days}", most_offer_days=MOST_OFFER_DAYS),
        )
    return days


def _given(form: Posted, name: str) -> str:
    """What was typed under a name that several proposals share: of one of them alone."""
    return next((value.strip() for value in form.get(name, []) if value.strip()), "")


def _asked(
    hand: DeskHand, case: EyeCase, outcome: Outcome | None
) -> tuple[tuple[Question, tuple[AnswerField, ...]], ...]:
    """The missing answers with their fields; nothing on another day than the look's."""
    if outcome is None or outcome.date != hand.today:
        return ()
    found = asked_once(missing_answers(outcome), case.record, hand.today)
    return tuple((question, fields) for question, fields in found if fields)


def _place(error: FollowupError) -> str:
    """The control of this page that was refused; "" where it is none of them."""
    return _REFUSED.get(error.code, "")


def _still_to_examine(outcome: Outcome | None) -> tuple[tuple[Question, Field], ...]:
    """What was not seen and is needed, each with the field that holds it."""
    fields = {field.name: field for field in findings_row().every}
    missing = outcome.missing if outcome else ()
    return tuple((one, fields[one.fields[0].split(".")[-1]]) for one in missing)


def _seen_lines(look: Findings, texts: Texts) -> Sequence[tuple[str, str]]:
    """What was entered, label and value, in the order of the row."""
    found = look.model_dump(mode="json", exclude_none=True)
    return [
        (
            texts.label(f.of),
            texts.found(found[f.name], f.kind, f.of),
        )
        for f in findings_row().every
        if f.name in found
    ]


def _course_name(hand: DeskHand, case: EyeCase, key: str) -> str:
    """A course by its medicine and eye; its key where no plan has it."""
    base = case.in_force or case.newest
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
    error: FollowupError | None = None,
    examined: FormView | None = None,
) -> Response:
    outcome, refused = led_to(hand, case, look)
    wrong = _place(error) if error and not examined else ""
    said = "" if error is None or wrong or (examined and examined.problems) else error.line
    return show(
        request,
        "look.html",
        status=status_of(error) if error else 200,
        case=case,
        who=case.who,
        look=look,
        outcome=outcome,
        asked=_asked(hand, case, outcome),
        form=replace(answer_form(case.record), usual=hand.protocol.routine.typed),
        products=pressure_medicines(hand),
        refused=refused,
        seen_lines=_seen_lines(look, hand.texts),
        typed=typed,
        effect=effect,
        error=said or None,
        wrong=wrong,
        wrong_line=error.line if error else "",
        missing=_still_to_examine(outcome),
        examined=examined or FormView({}),
        calm=outcome is not None and look.date == hand.today and nothing_to_change(outcome),
        steps_text=steps_text,
        course_name=lambda key: _course_name(hand, case, key),
        label_of=lambda key: label_of(key, hand.protocol.formulary),
        newest=case.newest,
        since=_since(hand, case, typed),
        title_of=lambda name: _title(outcome, name, hand.texts),
    )
