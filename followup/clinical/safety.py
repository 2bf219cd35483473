"""The safety net around the courses: contraindications, duplicates and label limits, as questions,
cautions and holds. Nothing here deletes a course."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from followup.clinical.careplan import Caution, Course, FactUse, Question, Reason
from followup.clinical.contraindications import Finding, check_duplicates, check_medicine
from followup.clinical.eye_rules import EyeRules, asked
from followup.clinical.labels import above_label
from followup.clinical.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.rules import Fired


@dataclass(frozen=True)
class Net:
    courses: tuple[Course, ...]
    questions: tuple[Question, ...]
    cautions: tuple[Caution, ...]


def check_courses(record: Record, protocol: Protocol, courses: Sequence[Course], as_of: date) -> Net:
    """Every course against the patient's allergies and illnesses, the others, and its label."""
    kept: list[Course] = []
    questions: list[Question] = []
    cautions: list[Caution] = []
    for course in courses:
        found, declined = _answered(record, _findings(record, protocol, course, as_of), as_of)
        held = tuple(f.id for f in found if f.holds)
        questions += [_question(f, (course.key,)) for f in found if f.question]
        cautions += [_caution(f) for f in found]
        labelled, over = _against_label(_declined(course, declined), protocol)
        cautions += over
        kept.append(hold(labelled, held))
    doubles = check_duplicates(kept, protocol.formulary, protocol.cautions)
    twice, _ = _answered(record, doubles, as_of)
    questions += [_question(f, f.courses) for f in twice if f.question]
    cautions += [_caution(f) for f in twice]
    return Net(tuple(kept), merge_questions(questions), _once(cautions))


def check_given(eyes: Sequence[EyeRules], protocol: Protocol) -> Net:
    """What was put into the eye at surgery, against the patient's allergies and illnesses.

    It can't be taken back: what would forbid it is a warning now, what must be asked is asked.
    """
    questions: list[Question] = []
    cautions: list[Caution] = []
    for eye in eyes:
        operation, record = eye.context.operation, eye.context.record
        given = [s.medicine for s in operation.steroid] + [m for m in (operation.antibiotic,) if m]
        for medicine in dict.fromkeys(given):
            found = check_medicine(
                record,
                protocol.formulary[medicine],
                eye.eye,
                new=True,
                days=1,
                max_count=1,
                cautions=protocol.cautions,
                as_of=eye.context.as_of,
            )
            told, _ = _answered(record, found, eye.context.as_of)
            for finding in told:
                if finding.level == "stop":
                    cautions.append(_caution(replace(finding, level="warn")))
                    continue
                questions += [_question(replace(finding, holds=False), ())] if finding.question else []
                cautions.append(_caution(finding))
    return Net((), merge_questions(questions), _once(cautions))


def _answered(
    record: Record, found: Sequence[Finding], as_of: date
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """The findings with the surgeon's answers to them by name, and those answered "do not give"."""
    told: list[Finding] = []
    declined: list[Finding] = []
    for finding in found:
        index = _answering_operation(record, finding, as_of)
        decision = {a.caution: a.decision for a in record.operations[index].answers}.get(finding.id)
        settles = decision == "do not give" or (decision == "give" and finding.level != "stop")
        if settles and not finding.answered:
            told.append(
                replace(finding, level="note", question=None, holds=False, blocks=False, answered=True)
            )
            declined += [finding] if decision == "do not give" else []
        else:
            told.append(_answerable(record, finding, index))
    return tuple(told), tuple(declined)


def _answering_operation(record: Record, finding: Finding, as_of: date) -> int:
    """The operation whose ``answers`` speak of this caution: the eye's latest, else the latest of all."""
    past = [(o.date, i) for i, o in enumerate(record.operations) if o.date <= as_of]
    mine = [(day, i) for day, i in past if finding.eye in (None, record.operations[i].eye)]
    return max(mine or past)[1]


def _answerable(record: Record, finding: Finding, index: int) -> Finding:
    """Every open caution can be answered: another product, leaving it out, or giving it all the same."""
    from_before = [
        f"in_use.{i}.continues" for i, entry in enumerate(record.in_use) if entry.medicine == finding.medicine
    ]
    fields = (*finding.answer_fields, f"operations.{index}.answers")
    if finding.level != "stop" or finding.answered:
        return replace(finding, answer_fields=(*fields, *from_before))
    if from_before:
        question = f"{finding.text} It is in use: stop it, or name what is given instead."
        return replace(finding, answer_fields=(*fields, *from_before), question=question, blocks=True)
    question = f"{finding.text} Choose another medicine, or leave it out."
    fields = (*fields, f"operations.{index}.products")
    return replace(finding, answer_fields=fields, question=question, blocks=True)


def _declined(course: Course, declined: Sequence[Finding]) -> Course:
    if not declined:
        return course
    reasons = (*course.reasons, *(_reason(f) for f in declined))
    return course.model_copy(update={"state": "stopped", "held_by": (), "reasons": reasons})


def hold(course: Course, by: Sequence[str]) -> Course:
    """The course held by these questions; a stopped course stays stopped."""
    if not by or course.state == "stopped":
        return course
    ids = tuple(dict.fromkeys((*course.held_by, *by)))
    return course.model_copy(update={"state": "held", "held_by": ids})


def _findings(record: Record, protocol: Protocol, course: Course, as_of: date) -> tuple[Finding, ...]:
    if course.state == "stopped" or not course.steps:
        return ()
    return check_medicine(
        record,
        protocol.formulary[course.medicine],
        course.eye,
        new=not course.from_before,
        days=sum(step.days for step in course.steps),
        max_count=max(step.count for step in course.steps),
        cautions=protocol.cautions,
        days_at_four=sum(step.days for step in course.steps if step.count >= 4),
        as_of=as_of,
    )


def _reason(finding: Finding) -> Reason:
    facts = (FactUse(fact=finding.id, value=finding.told, fields=finding.fields),) if finding.fields else ()
    return Reason(
        rule=finding.id, because=finding.because, source=finding.source, mark=finding.mark, facts=facts
    )


def _question(finding: Finding, courses: tuple[str, ...]) -> Question:
    return Question(
        id=finding.id,
        text=finding.question or finding.text,
        eye=finding.eye,
        fields=finding.answer_fields,
        holds=courses if finding.holds else (),
        blocks=finding.blocks,
        reasons=(_reason(finding),),
    )


def _caution(finding: Finding) -> Caution:
    return Caution(
        id=finding.id,
        text=finding.text,
        eye=finding.eye,
        level=finding.level,
        sheet=finding.sheet,
        reasons=(_reason(finding),),
    )


def _against_label(course: Course, protocol: Protocol) -> tuple[Course, list[Caution]]:
    medicine = protocol.formulary[course.medicine]
    if course.from_before or course.state == "stopped":
        return course, []
    over = above_label(medicine, [(s.count, s.days) for s in course.steps], protocol.about.country)
    if over is None:
        return course, []
    most, length = max(s.count for s in course.steps), sum(s.days for s in course.steps)
    for owned in protocol.above_label:
        if owned.medicine == medicine.id and most <= owned.drops_a_day and length <= owned.days:
            text = f"above label, signed in the protocol by {owned.owner}: {owned.reason}"
            return course.model_copy(update={"above_label": text}), []
    text = (
        f"{course.key}: {over.count} a day on day {over.day} of the course is above the label of "
        f"{medicine.name} ({over.allowed} a day). Lower it, or have the protocol signed for it."
    )
    reason = Reason(
        rule="label-ceiling",
        because="A course above the label is owned once, by name and reason, at the signing of the protocol.",
        source=over.ceiling.source,
        mark=over.ceiling.mark,
    )
    return course, [Caution(id="above-label", text=text, eye=course.eye, level="stop", reasons=(reason,))]


def rule_questions(eyes: Sequence[EyeRules], courses: Sequence[Course]) -> tuple[Question, ...]:
    """The questions of the rules that fired; one that only holds courses nobody wants is not put."""
    most = most_a_day(courses)
    found = []
    for eye in eyes:
        for fired in eye.fired:
            question = _rule_question(eye, fired, courses, most)
            if question is not None:
                found.append(question)
    return merge_questions(found)


def most_a_day(courses: Iterable[Course]) -> int:
    return max((step.count for c in courses if c.eye for step in c.steps), default=0)


def _rule_question(eye: EyeRules, fired: Fired, courses: Sequence[Course], most: int) -> Question | None:
    ask = fired.rule.ask
    if ask is None or not asked(fired, most):
        return None
    own = [c for c in courses if c.eye in (None, eye.eye) and c.role in ask.holds and not c.from_before]
    held = tuple(c.key for c in own if c.state != "stopped")
    if ask.holds and not held and not ask.blocks:
        return None
    return Question(
        id=fired.rule.id,
        text=ask.text,
        eye=None if fired.rule.scope == "patient" else eye.eye,
        fields=tuple(f for path in ask.fields for f in _fields(eye, path)),
        choices=ask.choices,
        holds=held,
        blocks=ask.blocks,
        reasons=(fired.reason,),
    )


def _fields(eye: EyeRules, path: str) -> tuple[str, ...]:
    return (path,) if path.startswith("in_use") else eye.context.fields(path)


def merge_questions(questions: Iterable[Question]) -> tuple[Question, ...]:
    """Each question of one eye once; what the same question holds is added up."""
    merged: dict[tuple[str, str | None, tuple[str, ...]], Question] = {}
    for question in questions:
        key = (question.id, question.eye, question.fields)
        first = merged.get(key, question)
        holds = tuple(dict.fromkeys((*first.holds, *question.holds)))
        merged[key] = first.model_copy(update={"holds": holds, "blocks": first.blocks or question.blocks})
    return tuple(merged.values())


def rule_cautions(eyes: Sequence[EyeRules]) -> tuple[Caution, ...]:
    """The cautions of the rules that fired."""
    found = []
    for eye in eyes:
        for fired in eye.fired:
            caution = fired.rule.caution
            if caution is not None:
                side = None if fired.rule.scope == "patient" else eye.eye
                found.append(
                    Caution(
                        id=fired.rule.id,
                        text=caution.text,
                        eye=side,
                        level=caution.level,
                        sheet=caution.sheet,
                        reasons=(fired.reason,),
                    )
                )
    return _once(found)


def _once(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    seen: dict[tuple[str, str | None, str], Caution] = {}
    for caution in cautions:
        seen.setdefault((caution.id, caution.eye, caution.text), caution)
    return tuple(seen.values())
