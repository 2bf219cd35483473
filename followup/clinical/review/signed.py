"""What signing a proposal changes, in a sentence made of the adjustments themselves."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from followup.clinical.adjustments import Adjustment, CourseAdded, CourseEdit, NeedAdded
from followup.clinical.careplan import Course
from followup.clinical.english import counted, day_words, joined, steps_in_short
from followup.clinical.protocol.protocol import text_of
from followup.clinical.review.look import Look
from followup.clinical.review.proposal import Proposal
from followup.said import say


def told(look: Look, proposal: Proposal) -> Proposal:
    """The proposal with what it changes, and with what still stands in the way of it."""
    parts = [part for a in proposal.adjustments for part in _part(look, a)]
    signed = say("If you sign: {parts}.", parts=joined(parts, "; ")) if parts else ""
    cautions = (*proposal.cautions, *_in_the_way(look, proposal))
    return proposal.model_copy(update={"if_signed": signed, "cautions": tuple(dict.fromkeys(cautions))})


def _part(look: Look, change: Adjustment) -> Iterator[str]:
    if isinstance(change, NeedAdded):
        first, last = day_words(change.earliest), day_words(change.latest)
        kind = text_of(change.need, look.protocol.kinds)
        yield (
            say("{kind} on {first}", kind=kind, first=first)
            if first == last
            else say("{kind} between {first} and {last}", kind=kind, first=first, last=last)
        )
    elif isinstance(change, CourseAdded):
        name = look.protocol.formulary[change.medicine].label
        yield joined((name, _steps(change.steps, change.starts, None)))
    else:
        yield _edited(look, change)


def _edited(look: Look, change: CourseEdit) -> str:
    course = next((c for c in look.plan.courses if c.key == change.course), None)
    name = look.protocol.formulary[course.medicine].label if course else change.course
    if not change.steps:
        return say(
            "{medicine} ends: no more drops of it from {starts}",
            medicine=name,
            starts=day_words(change.starts),
        )
    return joined((name, _steps(change.steps, change.starts, course.last_day if course else None)))


def _steps(steps: tuple[tuple[int, int], ...], starts: date, was: date | None) -> str:
    if not steps[0][0]:
        # A course that begins later: the days before it hold no drop.
        starts, steps = starts + timedelta(days=steps[0][1]), steps[1:]
    last = starts + timedelta(days=sum(days for _, days in steps) - 1)
    said = say(
        "{starts}; last day {last}", starts=steps_in_short(steps, day_words(starts)), last=day_words(last)
    )
    if was is None or was == last:
        return said
    more = counted(abs((last - was).days), "day", "days")
    return (
        say("{said}, {more} later", said=said, more=more)
        if last > was
        else say("{said}, {more} earlier", said=said, more=more)
    )


def _in_the_way(look: Look, proposal: Proposal) -> Iterator[str]:
    """A course that is given or changed, and that the plan holds or this eye may not have."""
    running = look.running
    if proposal.direction == "keep" and running and running.state == "held" and look.remaining:
        # A held course "goes on" only once someone has answered, unless another takes its place.
        ended = [a.course for a in proposal.adjustments if isinstance(a, CourseEdit) and not a.steps]
        if running.key not in ended:
            yield from _waiting_for(look, running)
    for change in proposal.adjustments:
        if isinstance(change, CourseAdded):
            yield from look.against(look.protocol.formulary[change.medicine])
        elif isinstance(change, CourseEdit) and change.steps:
            course = next((c for c in look.plan.courses if c.key == change.course), None)
            if course is not None and course.state == "held":
                yield from _waiting_for(look, course)


def _waiting_for(look: Look, course: Course) -> Iterator[str]:
    name = look.protocol.formulary[course.medicine].label
    for question in look.plan.questions:
        if course.key in question.holds or (not question.holds and question.id in course.held_by):
            yield say("{medicine} waits for an answer: {text}", medicine=name, text=question.text)
