"""An operated eye without a steroid drop: a decision of its own, by name and with a reason.

"Do not give" to a caution leaves out one product. It does not say that the eye shall have no steroid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from followup.clinical.careplan import Caution, Course, Question, Reason
from followup.clinical.facts.eye_rules import EyeRules
from followup.said import say
from followup.typed import typed

NAME = "no-steroid-drop"
_REASON = Reason(
    rule=NAME,
    because=say(
        "An operated eye without steroid drops can inflame: to leave them out is a decision of its own."
    ),
    source="common practice, no source",
    mark="C",
)


@dataclass(frozen=True)
class WithoutSteroid:
    courses: tuple[Course, ...]
    questions: tuple[Question, ...] = ()
    cautions: tuple[Caution, ...] = ()


def decide_steroid(courses: Sequence[Course], eyes: Sequence[EyeRules]) -> WithoutSteroid:
    """Steroid drops that were left out wait for another product or for the decision, eye by eye.

    The decision ends every steroid drop of the eye, and stands on the plan as a stop with its name.
    """
    found: tuple[Course, ...] = tuple(courses)
    questions: list[Question] = []
    cautions: list[Caution] = []
    for eye in eyes:
        operation = eye.context.operation
        mine = [c.key for c in found if c.eye == eye.eye and c.role == "steroid"]
        if operation.no_steroid_drop is not None:
            decision = operation.no_steroid_drop
            found = tuple(_stopped(c) if c.key in mine else c for c in found)
            by, why = typed(decision.decided_by), typed(decision.why)
            text = say("No steroid drop in this eye, decided by {by}: {why}", by=by, why=why)
            cautions.append(
                Caution(
                    id=NAME,
                    text=text,
                    eye=eye.eye,
                    level="stop",
                    decided_by=decision.decided_by,
                    reasons=(_REASON,),
                )
            )
            continue
        if _says_what_instead(eye):
            continue
        waiting = _waiting([c for c in found if c.key in mine])
        if waiting:
            found = tuple(_held(c) if c.key in waiting else c for c in found)
            place = f"operations.{eye.context.index}"
            questions.append(
                Question(
                    id=NAME,
                    text=say(
                        "The steroid drop of this operated eye is not to be given: which product "
                        "takes its place, or no steroid drop in this eye, and why?"
                    ),
                    eye=eye.eye,
                    fields=(f"{place}.products", f"{place}.no_steroid_drop"),
                    holds=waiting,
                    reasons=(_REASON,),
                )
            )
    return WithoutSteroid(found, tuple(questions), tuple(cautions))


def _says_what_instead(eye: EyeRules) -> bool:
    """Whether a rule that leaves the steroid out says on the plan what stands in its place."""
    return any(fired.rule.caution is not None for fired in eye.stopped("steroid"))


def _waiting(steroid: Sequence[Course]) -> tuple[str, ...]:
    """The steroid courses that were left out: those of the plan, and one in use that was the eye's only."""
    out = [course for course in steroid if course.state == "stopped"]
    own = [course.key for course in out if not course.from_before]
    return tuple(own or (course.key for course in out if len(out) == len(steroid)))


def _held(course: Course) -> Course:
    return course.model_copy(update={"state": "held", "held_by": (*course.held_by, NAME)})


def _stopped(course: Course) -> Course:
    if course.state == "stopped":
        return course
    reasons = (*course.reasons, _REASON)
    return course.model_copy(update={"state": "stopped", "held_by": (), "reasons": reasons})
