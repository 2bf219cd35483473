"""The safety net around the courses: contraindications, duplicates and label limits, as questions,
cautions and holds. Nothing here deletes a course."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from followup.clinical.careplan import Caution, Course, FactUse, Question, Reason
from followup.clinical.english import listed
from followup.clinical.facts.eye_rules import EyeRules, asked
from followup.clinical.facts.fire import Fired
from followup.clinical.plan.answered import AnswersOnDay, SettledFinding, closed, raised_by
from followup.clinical.plan.contraindications import CautionFinding, check_duplicates, check_medicine
from followup.clinical.plan.labels import above_label
from followup.clinical.protocol.formulary import Country, Medicine
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.record.eye import followed_eyes
from followup.said import say


@dataclass(frozen=True)
class Net:
    courses: tuple[Course, ...]
    questions: tuple[Question, ...]
    cautions: tuple[Caution, ...]


def check_courses(
    record: Record,
    protocol: Protocol,
    courses: Sequence[Course],
    as_of: date,
    ended: frozenset[str] = frozenset(),
) -> Net:
    """Every course against the patient's allergies and illnesses, the others, and its label."""
    # Nothing is left to ask about a course that a signature ended before today.
    gone = {c.key for c in courses if c.key in ended and c.last_day and c.last_day < as_of}
    asked = [c for c in courses if c.key not in gone]
    found = [(c.key, f) for c in asked for f in _findings(record, protocol, c, as_of)]
    answers = AnswersOnDay(record, as_of, raised_by(found), _without_steroid(record, courses, as_of))
    settled = [answers.settle(finding, key) for key, finding in found]
    kept: list[Course] = []
    cautions = [caution_of(s.finding) for s in settled]
    for course in courses:
        mine = [s for s in settled if s.course == course.key]
        labelled, over = _against_label(_declined(course, mine), protocol)
        cautions += over
        kept.append(hold(labelled, [s.finding.id for s in mine if s.finding.holds]))
    doubles = _doubles(answers, protocol, kept)
    questions = [question_of(s) for s in (*settled, *doubles) if s.finding.question]
    cautions += [caution_of(s.finding) for s in doubles]
    final = [_declined(c, [s for s in doubles if s.course == c.key]) for c in kept]
    return Net(tuple(final), merge_questions(questions), _once(cautions))


def _without_steroid(record: Record, courses: Sequence[Course], as_of: date) -> frozenset[str]:
    """Steroid drops of eyes for which the surgeon has decided that they get none."""
    latest = {eye.eye: eye.operation for eye in followed_eyes(record, as_of)}
    decided = {eye for eye, operation in latest.items() if operation.no_steroid_drop}
    return frozenset(c.key for c in courses if c.role == "steroid" and c.eye in decided)


def _doubles(answers: AnswersOnDay, protocol: Protocol, courses: Sequence[Course]) -> list[SettledFinding]:
    """Two medicines at once, asked about each: settled where one is left out, or both are to be given.

    An answer without a course can only say that both are meant, and only of one pair.
    """
    pairs = check_duplicates(courses, protocol.formulary, protocol.cautions)
    medicines = {
        course.key: protocol.formulary[course.medicine]
        for course in courses
        if course.medicine in protocol.formulary
    }
    alone = Counter((pair.id, pair.eye) for pair in pairs)
    told: list[SettledFinding] = []
    for pair in pairs:
        field = f"operations.{answers.operation(pair.eye)}.answers"
        plain = "give" if alone[pair.id, pair.eye] == 1 and answers.both_meant(pair) else None
        sides = []
        for key in pair.courses:
            asked = (
                say("{question} Is {label} to be given?", question=pair.question, label=medicines[key].label)
                if pair.question
                else None
            )
            one = replace(pair, medicine=medicines[key].id, question=asked, answer_fields=(field,))
            said = answers.to(one, key)
            sides.append((one, key, said.decision if said else plain))
        out = any(decision == "do not give" for _, _, decision in sides)
        both = pair.level != "stop" and all(decision == "give" for _, _, decision in sides)
        for one, key, decision in sides:
            if out or both:
                told.append(SettledFinding(closed(one), key, declined=decision == "do not give"))
            else:
                told.append(SettledFinding(replace(one, question=None) if decision == "give" else one, key))
    return told


def _declined(course: Course, settled: Sequence[SettledFinding]) -> Course:
    """The course left out where the surgeon has answered "do not give"."""
    out = [s for s in settled if s.declined]
    if not out:
        return course
    reasons = (*course.reasons, *(reason_of(s.finding) for s in out))
    return course.model_copy(update={"state": "stopped", "held_by": (), "reasons": reasons})


def hold(course: Course, by: Sequence[str]) -> Course:
    """The course held by these questions; a stopped course stays stopped."""
    if not by or course.state == "stopped":
        return course
    ids = tuple(dict.fromkeys((*course.held_by, *by)))
    return course.model_copy(update={"state": "held", "held_by": ids})


def _findings(record: Record, protocol: Protocol, course: Course, as_of: date) -> tuple[CautionFinding, ...]:
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
        counts=tuple((step.count, step.days) for step in course.steps),
        as_of=as_of,
    )


def reason_of(finding: CautionFinding) -> Reason:
    """Where a finding comes from."""
    facts = (FactUse(fact=finding.id, value=finding.told, fields=finding.fields),) if finding.fields else ()
    return Reason(
        rule=finding.id, because=finding.because, source=finding.source, mark=finding.mark, facts=facts
    )


def question_of(settled: SettledFinding) -> Question:
    """What is asked about one course."""
    finding = settled.finding
    return Question(
        id=finding.id,
        text=finding.question or finding.text,
        eye=finding.eye,
        course=settled.course,
        medicine=finding.medicine,
        fields=finding.answer_fields,
        holds=(settled.course,) if finding.holds else (),
        blocks=finding.blocks,
        reasons=(reason_of(finding),),
    )


def caution_of(finding: CautionFinding) -> Caution:
    """What stands on the plan whether it is answered or not."""
    return Caution(
        id=finding.id,
        text=finding.text,
        eye=finding.eye,
        level=finding.level,
        sheet=finding.sheet,
        reasons=(reason_of(finding),),
    )


def _against_label(course: Course, protocol: Protocol) -> tuple[Course, list[Caution]]:
    medicine = protocol.formulary[course.medicine]
    if course.from_before or course.state == "stopped":
        return course, []
    country = protocol.about.country
    over = above_label(medicine, [(s.count, s.days) for s in course.steps], country)
    if over is None:
        return course, list(_no_figure(course, medicine, country))
    most, length = max(s.count for s in course.steps), sum(s.days for s in course.steps)
    for owned in protocol.above_label:
        if owned.medicine == medicine.id and most <= owned.drops_a_day and length <= owned.days:
            text = say(
                "above label, signed in the protocol by {owner}: {reason}",
                owner=owned.owner,
                reason=owned.reason,
            )
            return course.model_copy(update={"above_label": text}), []
    strictest = say(", the strictest known; none is on file for {country}", country=country)
    text = say(
        "{label}: {count} a day on day {day} of the course is above its label ({country}: {allowed} a "
        "day{strictest}). Lower it, or have the protocol signed for it.",
        label=medicine.label,
        count=over.count,
        day=over.day,
        country=over.country,
        allowed=over.allowed,
        strictest="" if over.country == country else strictest,
    )
    reason = Reason(
        rule="label-ceiling",
        because=say(
            "A course above the label is owned once, by name and reason, at the signing of the protocol."
        ),
        source=over.ceiling.source,
        mark=over.ceiling.mark,
    )
    return course, [Caution(id="above-label", text=text, eye=course.eye, level="stop", reasons=(reason,))]


def _no_figure(course: Course, medicine: Medicine, country: Country) -> Iterator[Caution]:
    """The clinic's country has no figure on file: the strictest known is shown, or that there is none."""
    if course.eye is None or not course.steps or country in {c.country for c in medicine.labels}:
        return
    others = dict.fromkeys(c.country for c in medicine.labels)
    if others:
        text = say(
            "{label}: no figure of a label is on file for {country}. The course stays within the "
            "strictest known ({others}); signing the protocol signs it.",
            label=medicine.label,
            country=country,
            others=listed(others),
        )
    else:
        text = say(
            "{label}: no figure of any label is on file. The count is the protocol's own; signing the "
            "protocol signs it.",
            label=medicine.label,
        )
    reason = Reason(
        rule="label-no-figure",
        because=say("Where the clinic's own label is not known, its silence is not taken for permission."),
        source=medicine.source,
        mark=medicine.mark,
    )
    yield Caution(id="label-no-figure", text=text, eye=course.eye, level="note", reasons=(reason,))


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
    """Each question of one eye, or about one course, once; what the same question holds is added up."""
    merged: dict[tuple[str, str | None, str | None, tuple[str, ...]], Question] = {}
    for question in questions:
        key = (question.id, question.eye, question.course, question.fields)
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
