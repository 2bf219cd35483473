"""The safety net: what speaks against a medicine for this person, this eye, this course.

Pure mechanism; the rules are data (:mod:`followup.clinical.protocol.cautions`). A finding never
disappears silently: it goes only when a field that it names is filled in, or stays as a note.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Literal

from followup.clinical.careplan import Course
from followup.clinical.facts.allergies_told import told_allergies
from followup.clinical.facts.derive import YES_OR_NO, Fact, FactTold, any_so
from followup.clinical.facts.of_medicine import MedicineFacts, medicine_facts
from followup.clinical.plan.taken import taken
from followup.clinical.protocol.cautions import (
    SEVERITY,
    CautionRule,
    CautionSet,
    DuplicateRule,
    Level,
)
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.parts import Mark
from followup.clinical.record import Eye, Record
from followup.clinical.record.given import GivenMedicine
from followup.said import fill


@dataclass(frozen=True)
class CautionFinding:
    """One caution about one medicine.

    ``told`` is what the record says of its condition, ``fields`` are what it was read from,
    ``answer_fields`` those that can answer it.
    ``holds``: the course waits. ``blocks``: the plan can't be signed before it is answered.
    ``answered``: the surgeon or a recorded fact has answered it; it stays as a note.
    ``instead``: what is asked where a stop forbids a course of the plan. ``steroid_drop``: the
    medicine is one, so that leaving it out is a decision of its own.
    """

    id: str
    medicine: str
    eye: Eye | None
    level: Level
    text: str
    because: str
    source: str
    mark: Mark
    question: str | None = None
    told: str = "yes"
    fields: tuple[str, ...] = ()
    answer_fields: tuple[str, ...] = ()
    holds: bool = False
    blocks: bool = False
    answered: bool = False
    sheet: str | None = None
    courses: tuple[str, ...] = ()
    instead: str | None = None
    steroid_drop: bool = False


def check_medicine(
    record: Record,
    medicine: Medicine,
    eye: Eye | None,
    *,
    new: bool,
    days: int,
    max_count: int,
    cautions: CautionSet,
    counts: Sequence[tuple[int, int]] | None = None,
    as_of: date | None = None,
) -> tuple[CautionFinding, ...]:
    """All findings for giving ``medicine`` to ``eye`` (None: by mouth), the gravest first.

    ``new``: the plan would start it; else the patient already takes it. ``days`` is the length of
    the course, ``max_count`` its highest count a day, ``counts`` its steps as (times a day, days) (None:
    ``max_count`` on all of them). Reviews after ``as_of`` are not looked at.
    """
    course = _CourseAsked(
        medicine,
        eye,
        new,
        ((max_count, days),) if counts is None else tuple(counts),
        medicine_facts(record, eye, _given(record, medicine, days, cautions), as_of, cautions),
    )
    said = [(rule, told) for rule in cautions.about(medicine) if (told := _says(rule, course)) is not None]
    asking = Counter(rule.answer_choice for rule, _ in said)
    words: dict[str, str | int] = {"medicine": medicine.label, "days": days, "count": max_count}
    # A choice names no caution: it answers where no more than one can be meant, and only a new course.
    found = [
        _judge(rule, told, course, words, choice=new and asking[rule.answer_choice] == 1)
        for rule, told in said
    ]
    return tuple(sorted(found, key=lambda f: -SEVERITY[f.level]))


@dataclass(frozen=True)
class _CourseAsked:
    """The course that is looked at, and the facts around it. ``steps`` are (times a day, days)."""

    medicine: Medicine
    eye: Eye | None
    new: bool
    steps: tuple[tuple[int, int], ...]
    facts: MedicineFacts

    def days_at(self, count: int) -> int:
        """The days with ``count`` times a day or more."""
        return sum(days for times, days in self.steps if times >= count)


def _given(record: Record, medicine: Medicine, days: int, cautions: CautionSet) -> GivenMedicine:
    return GivenMedicine(
        days=days,
        label_days=medicine.longest_label_days(diabetes=False),
        label_days_in_diabetes=medicine.longest_label_days(diabetes=True),
        allergies=told_allergies(record, cautions.names, medicine),
        tablets=taken(record, cautions.names),
    )


def check_duplicates(
    courses: Sequence[Course], formulary: Mapping[str, Medicine], cautions: CautionSet
) -> tuple[CautionFinding, ...]:
    """Findings for pairs of courses that run at the same time; stopped courses don't count.

    A course without steps is taken to run all the time. A medicine outside the formulary is
    nobody's duplicate: what it is, is not known.
    """
    running = [c for c in courses if c.state != "stopped" and c.medicine in formulary]
    found = (_judge_pair(cautions.duplicates, (one, two), formulary) for one, two in combinations(running, 2))
    return tuple(sorted((f for f in found if f is not None), key=lambda f: -SEVERITY[f.level]))


def _level(rule: CautionRule, new: bool) -> Level | Literal["silent"]:
    return rule.level if new or rule.level_in_use is None else rule.level_in_use


def _says(rule: CautionRule, course: _CourseAsked) -> Fact | None:
    """What the record says of the rule's condition, where the rule has something to say at all."""
    if _level(rule, course.new) == "silent":
        return None
    if rule.dense and course.days_at(rule.dense.count) <= rule.dense.over_days:
        return None
    told = _ask(rule, course.facts)
    return told if _fires(rule, told.value) else None


def _judge(
    rule: CautionRule, told: Fact, course: _CourseAsked, words: Mapping[str, str | int], *, choice: bool
) -> CautionFinding:
    level = _level(rule, course.new)
    assert level != "silent"
    unless = [course.facts.ask(name) for name in rule.unless]
    choice_made, choice_fields = _choice(rule, course) if choice else (None, ())
    answered = choice_made == "give" or any(a.value is True for a in unless)
    opens = level in ("stop", "ask") and not answered
    return CautionFinding(
        id=rule.id,
        medicine=course.medicine.id,
        eye=course.eye,
        level="note" if answered else level,
        text=fill(rule.text, **words),
        because=rule.because,
        source=rule.source,
        mark=rule.mark,
        question=fill(rule.question, **words) if rule.question and opens and level == "ask" else None,
        told=YES_OR_NO[told.value],
        fields=told.told.fields,
        answer_fields=_fields(told, *unless) + choice_fields,
        holds=opens and (rule.holds if course.new else rule.holds_in_use),
        blocks=opens and rule.blocks is not False,
        answered=answered,
        sheet=rule.sheet,
        steroid_drop=course.medicine.role == "steroid" and course.medicine.route == "eye",
        instead=fill(rule.instead, **words) if rule.instead else None,
    )


def _ask(rule: CautionRule, facts: MedicineFacts) -> Fact:
    if rule.always:
        return Fact("always", True, lambda: FactTold(YES_OR_NO[True], ("in_use",)))
    asked = [facts.ask(name) for name in rule.when_any or rule.when_all]
    return any_so(rule.id, asked, by=bool(rule.when_any))


def _fires(rule: CautionRule, value: bool | None) -> bool:
    wanted: dict[str, tuple[bool | None, ...]] = {
        "yes": (True,),
        "not recorded": (None,),
        "yes or not recorded": (True, None),
    }
    return value in wanted[rule.fires]


def _choice(rule: CautionRule, course: _CourseAsked) -> tuple[str | None, tuple[str, ...]]:
    """The surgeon's choice for the eye's latest operation, and the field it stands in."""
    if rule.answer_choice is None or course.eye is None:
        return None, ()
    said = course.facts.eyes[0].read(f"operation.choices.{rule.answer_choice}")
    return said.value, said.fields


def _fields(*facts: Fact) -> tuple[str, ...]:
    return tuple(dict.fromkeys(field for fact in facts for field in fact.answers))


def _judge_pair(
    rules: Sequence[DuplicateRule], pair: tuple[Course, Course], formulary: Mapping[str, Medicine]
) -> CautionFinding | None:
    one, two = (formulary[course.medicine] for course in pair)
    if not _overlap(*pair):
        return None
    for rule in _fitting(rules, one, two):
        if rule.where == _relation(*pair):
            words = {"medicine": one.label, "other": two.label}
            return CautionFinding(
                id=rule.id,
                medicine=one.id,
                eye=pair[0].eye or pair[1].eye,
                level=rule.level,
                text=fill(rule.text, **words),
                because=rule.because,
                source=rule.source,
                mark=rule.mark,
                question=fill(rule.question, **words) if rule.question else None,
                blocks=rule.level in ("stop", "ask"),
                courses=(pair[0].key, pair[1].key),
            )
    return None


def _fitting(rules: Sequence[DuplicateRule], one: Medicine, two: Medicine) -> Iterator[DuplicateRule]:
    for rule in rules:
        if (
            rule.both.fits(one)
            and rule.both.fits(two)
            and (not rule.same_kind or set(one.kinds) & set(two.kinds))
            and (not rule.same_substance or set(one.substances) & set(two.substances))
        ):
            yield rule


def _relation(one: Course, two: Course) -> str:
    if one.eye == two.eye:
        return "same eye" if one.eye else "same mouth"
    return "both eyes" if one.eye and two.eye else "eye and mouth"


def _overlap(one: Course, two: Course) -> bool:
    if not one.steps or not two.steps:
        return True
    spans = [(s.start, s.end, t.start, t.end) for s in one.steps for t in two.steps]
    return any(start <= other_end and other_start <= end for start, end, other_start, other_end in spans)
