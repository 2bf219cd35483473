"""A plan's questions are answered: the fields that a question names, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated, Any

from pydantic import Field as Bounds
from pydantic import StringConstraints

from followup.care.act import Act, Number
from followup.care.fields.shape import RECORD, Field, Group, Member
from followup.care.fields.values import Flat, fill_form, read_form
from followup.care.hand import Hand
from followup.care.plans.past_looks import PAST_LOOK, answer_look, offered, past_look
from followup.care.plans.plan_view import PlanView
from followup.care.plans.plans import store_answers
from followup.clinical.careplan import Question, ReviewNeed
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.records.people.patients import newest_record
from followup.records.views import PlanVersion

Typed = Annotated[str, StringConstraints(max_length=4000)]
_REVIEWS = "reviews."
_CAUTION = re.compile(r"operations\.(\d+)\.answers")


class Answers(Act):
    """Answers by the names that ``asked`` gives; an empty list takes an answer back.

    ``seen`` is the version of the record that they were made from.
    """

    seen: Number
    answers: Annotated[
        dict[
            Annotated[str, StringConstraints(max_length=200)],
            Annotated[list[Typed], Bounds(max_length=60)],
        ],
        Bounds(min_length=1, max_length=200),
    ]


@dataclass(frozen=True)
class AnswerField:
    """A field or group of the record's form, under its full name.

    ``operation`` is set where a caution is answered by its name and course, in that operation's answers.
    ``look`` is set where the question is whether that look was done: its days are the choices.
    """

    name: str
    member: Member
    operation: int | None = None
    look: ReviewNeed | None = None


def give_answers(hand: Hand, view: PlanView, sent: Answers) -> PlanVersion:
    """Store the answers as the record's next version, and the plan made again from it.

    Errors: ``answers.field``, those of the record, of ``correct_record`` and of ``draft_plan``.
    """
    with hand.store.read() as session:
        record = newest_record(session, view.version.patient_id).record
    needs = view.plan.needs
    fields = asked_fields(view.plan.questions, record, hand.today, needs)
    for name in sent.answers:
        if field_of(name, fields) is None:
            raise FollowupError(
                "answers.field",
                "no open question asks for this",
                where=name[:60],
                fix="look at the plan and take a name from its questions",
            )
    data = with_answers(view.plan.questions, record, sent.answers, hand.today, needs)
    return store_answers(hand, view, data, seen=sent.seen)


def asked_fields(
    questions: Iterable[Question], record: Record, today: date, needs: Iterable[ReviewNeed] = ()
) -> tuple[AnswerField, ...]:
    """Every field that answers one of the questions."""
    needs = tuple(needs)
    return tuple(field for question in questions for field in answer_fields(question, record, today, needs))


def field_of(name: str, fields: Iterable[AnswerField]) -> AnswerField | None:
    """The first of the fields that an answer of this name belongs to."""
    return next((field for field in fields if _belongs(name, field.name)), None)


def answer_fields(
    question: Question, record: Record, today: date, needs: Iterable[ReviewNeed] = ()
) -> tuple[AnswerField, ...]:
    """Where the question can be answered; a finding is answered in a review of today.

    ``needs``: those of the plan; whether one of them was looked at is answered by its day alone.
    """
    if look := past_look(question, needs):
        days = Field(look.key, "Question.looked", "one of", offered(look, record, today))
        return (AnswerField(f"{PAST_LOOK}{look.key}", days, look=look),)
    found: list[AnswerField] = []
    for path in question.fields:
        if by_name := _CAUTION.fullmatch(path):
            found += _caution_fields(question, int(by_name[1]))
            continue
        name = _in_review(path, question, record, today)
        member = _member(name)
        if member is not None:
            found.append(AnswerField(name, member))
    return tuple(found)


def asked_once(
    questions: Iterable[Question], record: Record, today: date, needs: Iterable[ReviewNeed] = ()
) -> tuple[tuple[Question, tuple[AnswerField, ...]], ...]:
    """The questions with their fields; a field that two of them name is shown with the first."""
    shown: set[str] = set()
    found, needs = [], tuple(needs)
    for question in questions:
        fields = tuple(f for f in answer_fields(question, record, today, needs) if f.name not in shown)
        shown.update(field.name for field in fields)
        found.append((question, fields))
    return tuple(found)


def with_answers(
    questions: Iterable[Question],
    record: Record,
    answers: Flat,
    today: date,
    needs: Iterable[ReviewNeed] = (),
) -> dict[str, Any]:
    """The record's JSON with the answers in place of what stood there.

    A field that no name of ``answers`` belongs to stays; one that none asks for is left out. Error
    ``answers.day`` for a day on which no such look can have been.
    """
    form: Flat = fill_form(record.model_dump(mode="json", exclude_none=True))
    asked, needs = tuple(questions), tuple(needs)
    fields = asked_fields(asked, record, today, needs)
    shown = {field.name for name in answers if (field := field_of(name, fields))}
    for question in asked:
        for field in answer_fields(question, record, today, needs):
            if field.name not in shown or field.operation is not None or field.look:
                continue
            form = _replaced(form, field.name, answers)
            if field.name.startswith(_REVIEWS) and any(answers.get(field.name, [])):
                head = field.name.rpartition(".")[0]
                form = {**form, f"{head}.eye": [question.eye or ""], f"{head}.date": [today.isoformat()]}
    data = read_form(form)
    for question in asked:
        _answer_caution(data, question, record, answers, today)
        if look := past_look(question, needs):
            answer_look(data, look, answers, today)
    return data


def _caution_fields(question: Question, operation: int) -> list[AnswerField]:
    group = _member("operations.0.answers")
    assert isinstance(group, Group)
    decision, why = group.member("decision"), group.member("why")
    assert isinstance(decision, Field)
    assert isinstance(why, Field)
    # Not required: a question may be left for later.
    members = (replace(decision, required=False, choices=_decisions(question)), why)
    return [AnswerField(f"{_name(question)}.{member.name}", member, operation) for member in members]


def _name(question: Question) -> str:
    return f"caution.{question.id}.{question.course}" if question.course else f"caution.{question.id}"


def _decisions(question: Question) -> tuple[str, ...]:
    """What can be answered: a medicine that was given at surgery, one that is forbidden, any other."""
    if question.course and ":at-surgery:" in question.course:
        return ("given",)
    forbidden = any(path.endswith(".products") for path in question.fields)
    return ("do not give",) if forbidden else ("give", "do not give")


def _answer_caution(
    data: dict[str, Any], question: Question, record: Record, answers: Flat, today: date
) -> None:
    """Put the answer to a caution into the answers of its operation, in place of an earlier one."""
    given = {
        field.name.rpartition(".")[2]: (field.operation, next(iter(answers.get(field.name, ())), "").strip())
        for field in answer_fields(question, record, today)
        if field.operation is not None
    }
    operation, decision = given.get("decision", (None, ""))
    if operation is None or not decision:
        return
    target = data["operations"][operation]
    about = {"caution": question.id}
    about |= {"course": question.course} if question.course else {}
    kept = [
        answer
        for answer in target.get("answers", [])
        if (answer.get("caution"), answer.get("course")) != (question.id, question.course)
    ]
    about |= {"medicine": question.medicine} if question.medicine else {}
    why = given["why"][1]
    target["answers"] = [*kept, about | {"decision": decision} | ({"why": why} if why else {})]


def _belongs(name: str, field: str) -> bool:
    return name == field or name.startswith(f"{field}.")


def _replaced(form: Flat, field: str, answers: Flat) -> Flat:
    kept = {name: values for name, values in form.items() if not _belongs(name, field)}
    return kept | {name: values for name, values in answers.items() if _belongs(name, field)}


def _in_review(path: str, question: Question, record: Record, today: date) -> str:
    """ "reviews.blood" means: in today's review of that eye, which is made if there is none."""
    if not path.startswith(_REVIEWS) or path.split(".")[1].isdigit():
        return path
    for number, review in enumerate(record.reviews):
        if review.date == today and review.eye == question.eye:
            return f"reviews.{number}.{path.removeprefix(_REVIEWS)}"
    return f"reviews.{len(record.reviews)}.{path.removeprefix(_REVIEWS)}"


def _member(name: str) -> Member | None:
    member: Member = RECORD
    for part in name.split("."):
        if not isinstance(member, Group):
            return None
        if part.isdigit() and member.many:
            continue
        try:
            member = member.member(part)
        except KeyError:
            return None
    return member
