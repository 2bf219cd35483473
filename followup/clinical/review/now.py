"""What to do now where a finding is for a senior the same day: whom to call, which bottles go on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.careplan import Caution, Course
from followup.clinical.english import listed
from followup.clinical.protocol.reviews import GRADES, Flag, ReviewRules
from followup.clinical.review.asks import in_time
from followup.clinical.review.cells import severe
from followup.clinical.review.look import Look
from followup.clinical.review.others import seen
from followup.said import say


def raised_flags(look: Look, rules: ReviewRules) -> tuple[Flag, ...]:
    """The red flags of the table that this look holds."""
    return tuple(flag for flag in rules.flag if _raised(look, flag))


def senior(look: Look, rules: ReviewRules, flags: Sequence[Flag]) -> tuple[Caution, ...]:
    """The findings for a senior the same day: the flags, and cells that are one by their number."""
    eye = look.findings.eye
    found = [Caution(id=f.id, text=f.text, eye=eye, level="stop", reasons=(look.reason(f),)) for f in flags]
    cells = severe(look, rules)
    return (*found, cells) if cells else tuple(found)


def what_now(look: Look, rules: ReviewRules, flags: Sequence[Flag]) -> tuple[str, ...]:
    """Sentences: whom to call, what goes on until then and what does not."""
    return tuple(_sentences(look, rules, flags))


def _sentences(look: Look, rules: ReviewRules, flags: Sequence[Flag]) -> Iterator[str]:
    calls = [flag.call for flag in flags if flag.call]
    if not flags or any(not flag.call for flag in flags):
        calls = [rules.settings.senior_call, *calls]
    yield from dict.fromkeys(calls)
    if look.plan.refused:
        yield say("This patient is followed by hand: the drops of the surgeon's own plan go on until then.")
        return
    given = due_today(look)
    paused = _paused(look, flags, given)
    goes_on = [_dose(look, course) for course in given if course.key not in paused]
    if goes_on and look.untaken:
        yield say(
            "The drops were not taken: until then start again as ordered: {goes_on}.", goes_on=listed(goes_on)
        )
    elif goes_on:
        yield say("Until then these go on as ordered: {goes_on}.", goes_on=listed(goes_on))
    not_now = [look.protocol.formulary[course.medicine].label for course in given if course.key in paused]
    if not_now:
        yield say("Not given before the eye has been seen: {not_now}.", not_now=listed(not_now))
    if not given:
        yield say("No drops of the plan are due today.")
    yield say("No drop is added, raised or lowered before the eye has been seen.")


def _paused(look: Look, flags: Sequence[Flag], given: Sequence[Course]) -> set[str]:
    """What is not given before the eye has been seen: what a flag says, and what this look itself holds."""
    roles = {role for flag in flags for role in flag.pause}
    held = {course.key for course in look.plan.courses if course.state == "held"}
    return {course.key for course in given if course.role in roles or course.key in held}


def due_today(look: Look) -> tuple[Course, ...]:
    """What this eye, or the patient by mouth, is due today under the plan in force."""
    courses = look.plan.courses if look.in_force is None else look.in_force
    mine = (c for c in courses if c.eye in (None, look.findings.eye) and c.state == "active")
    return tuple(c for c in mine if c.count_on(look.findings.date))


def _dose(look: Look, course: Course) -> str:
    name = look.protocol.formulary[course.medicine].label
    count = course.count_on(look.findings.date)
    if course.eye is None:
        return say("{medicine} by mouth", medicine=name)
    return say("{medicine} {count} a day", medicine=name, count=count)


def _raised(look: Look, flag: Flag) -> bool:
    high, many = flag.pressure_at_least, flag.cells_at_least
    return (
        in_time(look, flag)
        and seen(look, flag.finding, flag.is_)
        and all(look.fact(name) for name in flag.when)
        and (high is None or (look.pressure is not None and look.pressure >= high))
        and (many is None or (look.cells is not None and look.cells >= GRADES.index(many)))
    )
