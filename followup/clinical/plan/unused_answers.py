"""What the surgeon answered in the record though nothing asks for it: noted, never silently ignored."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from followup.clinical.careplan import Caution, Course
from followup.clinical.facts.eye_rules import EyeRules, apply_rules
from followup.clinical.plan.at_surgery import UNNAMED_ANTIBIOTIC
from followup.clinical.plan.keys_told import CHOICES, role_words
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Choices, Eye
from followup.clinical.record.eye import EyeContext
from followup.said import say


def answers_to_nothing(
    eyes: Sequence[EyeRules], protocol: Protocol, courses: Sequence[Course], cautions: Iterable[Caution]
) -> list[str]:
    """A sentence for each answer of the eyes' latest operations that changes nothing in their plan.

    ``courses`` and ``cautions`` are the plan's, with those that are stopped or answered.
    """
    met = {(caution.id, caution.eye) for caution in cautions}
    told = []
    for eye in eyes:
        told += _no_such_caution(eye, protocol)
        told += _no_such_course(eye, courses)
        told += [
            say("The answer on the {what} changes nothing in the {eye} eye.", what=what, eye=eye.eye)
            for what in (*_choices(eye, protocol, met), *_of_no_course(eye, courses))
        ]
    return told


def _no_such_caution(eye: EyeRules, protocol: Protocol) -> list[str]:
    """Answers under a name that no caution has: a slip of the pen, or a caution that is no more."""
    known = {rule.id for rule in protocol.cautions.cautions} | {d.id for d in protocol.cautions.duplicates}
    known.add(UNNAMED_ANTIBIOTIC)
    return [
        say('The answer to "{caution}" fits no caution of this protocol.', caution=a.caution)
        for a in eye.context.operation.answers
        if a.caution not in known
    ]


def _no_such_course(eye: EyeRules, courses: Sequence[Course]) -> list[str]:
    """Answers about a course that this plan does not have, or has no longer."""
    keys = {course.key for course in courses}
    return [
        say(
            'The answer to "{caution}" is about the course "{course}", which this plan does not have.',
            caution=a.caution,
            course=a.course,
        )
        for a in eye.context.operation.answers
        if a.course is not None and a.course not in keys and ":at-surgery:" not in a.course
    ]


def _choices(eye: EyeRules, protocol: Protocol, met: set[tuple[str, Eye | None]]) -> Iterator[str]:
    """Choices without which the same rules fire, and that no caution of this eye asks for."""
    for name in Choices.model_fields:
        if getattr(eye.context.operation.choices, name) is None:
            continue
        asking = (rule.id for rule in protocol.cautions.cautions if rule.answer_choice == name)
        if any((rule, eye.eye) in met for rule in asking):
            continue
        without = apply_rules(_without(eye.context, name), protocol)
        if [f.rule.id for f in without.fired] == [f.rule.id for f in eye.fired]:
            yield CHOICES.get(name, say("choice"))


def _without(context: EyeContext, choice: str) -> EyeContext:
    """The eye as if this choice had not been made."""
    choices = context.operation.choices.model_copy(update={choice: None})
    changed = context.operation.model_copy(update={"choices": choices})
    operations = tuple(changed if o is context.operation else o for o in context.record.operations)
    return replace(context, record=context.record.model_copy(update={"operations": operations}))


def _of_no_course(eye: EyeRules, courses: Sequence[Course]) -> Iterator[str]:
    """Products and releases of a kind of course that this eye does not get."""
    roles = {course.role for course in courses if course.eye in (None, eye.eye) and not course.from_before}
    operation = eye.context.operation
    for product in operation.products:
        if product.role not in roles:
            yield say("product for the {role}", role=role_words(product.role))
    for release in operation.released:
        if release.course not in roles:
            yield say("release of the {role}", role=role_words(release.course))
