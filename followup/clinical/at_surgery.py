"""What was put into the eye at surgery, against the patient's allergies and illnesses.

It can't be taken back. What would have forbidden it is a stop on the plan until the surgeon has written
down what is done about it; what must be asked is asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from followup.clinical.answered import Answers, Settled, closed, raised_by
from followup.clinical.careplan import Question
from followup.clinical.contraindications import Finding, check_medicine
from followup.clinical.eye_rules import EyeRules
from followup.clinical.formulary import Medicine
from followup.clinical.protocol import Protocol
from followup.clinical.safety import Net, caution_of, question_of, reason_of
from followup.typed import typed


def course_at_surgery(eye: str, medicine: str) -> str:
    """The key under which an answer speaks of a medicine that was given at surgery."""
    return f"{eye}:at-surgery:{medicine}"


def check_given(eyes: Sequence[EyeRules], protocol: Protocol) -> Net:
    """Cautions and questions about every medicine that these operations put into the eye."""
    questions: list[Question] = []
    told: list[Settled] = []
    for eye in eyes:
        operation, record = eye.context.operation, eye.context.record
        given = [s.medicine for s in operation.steroid] + [m for m in (operation.antibiotic,) if m]
        found = [
            (course_at_surgery(eye.eye, name), finding)
            for name in dict.fromkeys(given)
            for finding in _findings(eye, protocol.formulary[name], protocol)
        ]
        answers = Answers(record, eye.context.as_of, raised_by(found))
        told += [_settled(answers, finding, course) for course, finding in found]
        questions += _unnamed_antibiotic(eye, protocol)
    questions += [question_of(s) for s in told if s.finding.question]
    return Net((), tuple(questions), tuple(dict.fromkeys(caution_of(s.finding) for s in told)))


def _findings(eye: EyeRules, medicine: Medicine, protocol: Protocol) -> tuple[Finding, ...]:
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


def _settled(answers: Answers, finding: Finding, course: str) -> Settled:
    if finding.answered or finding.level not in ("stop", "ask"):
        return Settled(finding, course)
    finding = replace(finding, holds=False)
    answer = answers.to(finding, course)
    gives = answer is not None and answer.decision == "give" and finding.level == "ask"
    if answer and (answer.decision == "given" or (gives and not _of_allergy(finding))):
        why = f" It was given; what is done: {typed(answer.why)}" if answer.why else ""
        return Settled(replace(closed(finding), level="warn", text=f"{finding.text}{why}"), course)
    fields = (*finding.answer_fields, f"operations.{answers.operation(finding.eye)}.answers")
    asked = finding.question
    if finding.level == "stop" or _of_allergy(finding):
        finding = replace(finding, level="stop")
        asked = f"{finding.text} It was given at surgery: what is done about it, and who watches?"
    return Settled(replace(finding, answer_fields=fields, question=asked, blocks=True), course)


def _of_allergy(finding: Finding) -> bool:
    """Whether the caution was read off an allergy: then even a mild one is a stop, for it is done already."""
    return any(field.startswith("patient.allerg") for field in finding.fields)


def _unnamed_antibiotic(eye: EyeRules, protocol: Protocol) -> Iterator[Question]:
    """An antibiotic in the chamber that nobody named, where one of them would have been forbidden."""
    operation = eye.context.operation
    if operation.antibiotic is not None or not operation.antibiotic_in_chamber:
        return
    injected = [m for m in protocol.formulary.values() if m.role == "antibiotic" and m.route == "injection"]
    against = [
        f
        for m in injected
        for f in _findings(eye, m, protocol)
        if f.level in ("stop", "ask") and not f.answered
    ]
    if against:
        yield Question(
            id="antibiotic-at-surgery",
            text="Which antibiotic was put into the chamber? With this patient's allergies it matters.",
            eye=eye.eye,
            fields=tuple(
                f"operations.{eye.context.index}.{name}" for name in ("antibiotic", "antibiotic_in_chamber")
            ),
            reasons=tuple(dict.fromkeys(reason_of(finding) for finding in against)),
        )
