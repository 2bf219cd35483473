"""Answering a plan's questions in place: the fields that a question names, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from followup.care.fields.shape import RECORD, Field, Group, Member
from followup.clinical.careplan import Question
from followup.clinical.record import Record
from followup.desks.forms.sheet import FormView, fill_form, read_form
from followup.desks.page.posted import Posted, first

_REVIEWS = "reviews."
_CAUTION = re.compile(r"operations\.(\d+)\.answers")


@dataclass(frozen=True)
class AnswerField:
    """A field or group of the record's form, under its full name.

    ``operation`` is set where a caution is answered by its name and course, in that operation's answers.
    """

    name: str
    member: Member
    operation: int | None = None


def answer_fields(question: Question, record: Record, today: date) -> tuple[AnswerField, ...]:
    """Where the question can be answered; a finding is answered in a review of today."""
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
    questions: Iterable[Question], record: Record, today: date
) -> tuple[tuple[Question, tuple[AnswerField, ...]], ...]:
    """The questions with their fields; a field that two of them name is shown with the first."""
    shown: set[str] = set()
    found = []
    for question in questions:
        fields = tuple(f for f in answer_fields(question, record, today) if f.name not in shown)
        shown.update(field.name for field in fields)
        found.append((question, fields))
    return tuple(found)


def answer_form(record: Record) -> FormView:
    """The record as a form, to take the answers' present values from."""
    return FormView(fill_form(record.model_dump(mode="json", exclude_none=True)))


def with_answers(
    questions: tuple[Question, ...], record: Record, posted: Posted, today: date
) -> dict[str, Any]:
    """The record's JSON with what was posted for the questions' fields in place of what stood there.

    ``posted["answered"]`` names the fields that the page showed: a field that it did not show stays.
    """
    form = dict(fill_form(record.model_dump(mode="json", exclude_none=True)))
    shown = set(posted.get("answered", []))
    for question in questions:
        for field in answer_fields(question, record, today):
            if field.name not in shown or field.operation is not None:
                continue
            form = _replaced(form, field.name, posted)
            if field.name.startswith(_REVIEWS) and any(posted.get(field.name, [])):
                head = field.name.rpartition(".")[0]
                form[f"{head}.eye"] = [question.eye or ""]
                form[f"{head}.date"] = [today.isoformat()]
    data = read_form(form)
    for question in questions:
        _answer_caution(data, question, record, posted, today)
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
    data: dict[str, Any], question: Question, record: Record, posted: Posted, today: date
) -> None:
    """Put the answer to a caution into the answers of its operation, in place of an earlier one."""
    given = {
        field.name.rpartition(".")[2]: (field.operation, first(posted, field.name))
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


def _replaced(form: dict[str, list[str]], name: str, posted: Posted) -> dict[str, list[str]]:
    def belongs(key: str) -> bool:
        return key == name or key.startswith(f"{name}.")

    kept = {key: values for key, values in form.items() if not belongs(key)}
    return kept | {key: values for key, values in posted.items() if belongs(key)}


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
