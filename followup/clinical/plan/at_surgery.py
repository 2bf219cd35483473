"""What was put into the eye at surgery, against the patient's allergies and illnesses.

It can't be taken back. What would have forbidden it is a stop on the plan until the surgeon has written
down what is done about it; what must be asked is asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from followup.clinical.careplan import Caution, Question
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.answered import AnswersOnDay, SettledFinding, closed, raised_by
from followup.clinical.plan.contraindications import CautionFinding, check_medicine
from followup.clinical.plan.safety import Net, caution_of, question_of, reason_of
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.protocol import Protocol
from followup.said import say
from followup.typed import typed

# The question about an antibiotic that nobody named, and the course that its answer in words speaks of.
UNNAMED_ANTIBIOTIC = "antibiotic-at-surgery"


def course_at_surgery(eye: str, medicine: str) -> str:
    """The key under which an answer speaks of a medicine that was given at surgery."""
    return f"{eye}:at-surgery:{medicine}"


def check_given(eyes: Sequence[EyeRules], protocol: Protocol) -> Net:
    """Cautions and questions about every medicine that these operations put into the eye."""
    questions: list[Question] = []
    told: list[SettledFinding] = []
    in_words: list[Caution] = []
    for eye in eyes:
        operation, record = eye.context.operation, eye.context.record
        given = [s.medicine for s in operation.steroid] + [m for m in (operation.antibiotic,) if m]
        found = [
            (course_at_surgery(eye.eye, name), finding)
            for name in dict.fromkeys(given)
            for finding in _findings(eye, protocol.formulary[name], protocol)
        ]
        answers = AnswersOnDay(record, eye.context.as_of, raised_by(found))
        told += [_settled(answers, finding, course) for course, finding in found]
        unnamed = _unnamed_antibiotic(eye, protocol)
        if unnamed is not None and (said := _said_of(eye, unnamed)):
            in_words.append(said)
        elif unnamed is not None:
            questions.append(unnamed)
    questions += [question_of(s) for s in told if s.finding.question]
    cautions = (*dict.fromkeys(caution_of(s.finding) for s in told), *in_words)
    return Net((), tuple(questions), cautions)


def _findings(eye: EyeRules, medicine: Medicine, protocol: Protocol) -> tuple[CautionFinding, ...]:
    return check_medicine(
        eye.context.record,
        medicine,
        eye.eye,
        new=True,
        days=1,
        max_count=1,
        cautions=protocol.cautions,
        as_of=eye.context.as_of,
    )


def _settled(answers: AnswersOnDay, finding: CautionFinding, course: str) -> SettledFinding:
    if finding.answered or finding.level not in ("stop", "ask"):
        return SettledFinding(finding, course)
    finding = replace(finding, holds=False)
    answer = answers.to(finding, course)
    gives = answer is not None and answer.decision == "give" and finding.level == "ask"
    if answer and (answer.decision == "given" or (gives and not _of_allergy(finding))):
        text = _with_what_is_done(finding.text, answer.why)
        return SettledFinding(replace(closed(finding), level="warn", text=text), course)
    fields = (*finding.answer_fields, f"operations.{answers.operation(finding.eye)}.answers")
    asked = finding.question
    if finding.level == "stop" or _of_allergy(finding):
        finding = replace(finding, level="stop")
        asked = say(
            "{text} It was given at surgery: what is done about it, and who watches?", text=finding.text
        )
    return SettledFinding(replace(finding, answer_fields=fields, question=asked, blocks=True), course)


def _with_what_is_done(text: str, why: str | None) -> str:
    """The caution with the surgeon's own words after it."""
    if not why:
        return text
    done = typed(why.rstrip(". "))
    said = say("It was given; what is done: {done}.", done=done)
    return f"{text} {said}"


def _of_allergy(finding: CautionFinding) -> bool:
    """Whether the caution was read off an allergy: then even a mild one is a stop, for it is done already."""
    return any(field.startswith("patient.allerg") for field in finding.fields)


def _unnamed_antibiotic(eye: EyeRules, protocol: Protocol) -> Question | None:
    """An antibiotic in the chamber that nobody named, where one of them would have been forbidden.

    One that the formulary does not have can't be named: it is written down in words, with what is done.
    """
    operation, index = eye.context.operation, eye.context.index
    if operation.antibiotic is not None or not operation.antibiotic_in_chamber:
        return None
    injected = [m for m in protocol.formulary.values() if m.role == "antibiotic" and m.route == "injection"]
    against = [
        f
        for m in injected
        for f in _findings(eye, m, protocol)
        if f.level in ("stop", "ask") and not f.answered
    ]
    if not against:
        return None
    return Question(
        id=UNNAMED_ANTIBIOTIC,
        text=say("Which antibiotic was put into the chamber? With this patient's allergies it matters."),
        eye=eye.eye,
        course=course_at_surgery(eye.eye, "antibiotic"),
        fields=tuple(
            f"operations.{index}.{name}" for name in ("antibiotic", "antibiotic_in_chamber", "answers")
        ),
        reasons=tuple(dict.fromkeys(reason_of(finding) for finding in against)),
    )


def _said_of(eye: EyeRules, question: Question) -> Caution | None:
    """What the surgeon wrote of an antibiotic that the formulary does not have, and of what is done."""
    for answer in eye.context.operation.answers:
        about = answer.caution == question.id and answer.course in (None, question.course)
        if about and answer.decision == "given" and answer.why:
            text = say("An antibiotic that is not in the formulary was put into the chamber.")
            return Caution(
                id=question.id,
                text=_with_what_is_done(text, answer.why),
                eye=eye.eye,
                level="warn",
                reasons=question.reasons,
            )
    return None
