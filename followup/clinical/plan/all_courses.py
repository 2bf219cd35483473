"""The courses of all eyes of one patient, with those from before, held where something is in question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import Course, Overridden
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.courses import apply_edits, draft_courses, ended_by_edit, last_steroid_day
from followup.clinical.plan.from_before import FromBefore, courses_from_before
from followup.clinical.plan.needs import Opened, added_needs, last_days, open_needs
from followup.clinical.plan.no_steroid import WithoutSteroid, decide_steroid
from followup.clinical.plan.safety import Net, check_courses, hold, most_a_day
from followup.clinical.plan.setting import Setting
from followup.clinical.plan.tablets import dosed
from followup.clinical.plan.taper import merged_by_mouth


@dataclass(frozen=True)
class JoinedCourses:
    """The courses of all eyes and from before, held where something is in question."""

    before: FromBefore
    net: Net
    steroid: WithoutSteroid
    overridden: tuple[Overridden, ...]


def join_courses(setting: Setting, edits: tuple[Adjustment, ...]) -> JoinedCourses:
    courses, overridden = _courses(setting, edits)
    until = _horizon(courses, needs_of(setting, courses, edits)[0], setting)
    start, record, protocol = _from_before_start(setting), setting.record, setting.protocol
    before = courses_from_before(record, protocol, start, until, setting.waking)
    every = (*courses, *before.courses)
    net = check_courses(record, protocol, every, setting.as_of, ended_by_edit(edits))
    return JoinedCourses(
        before, net, decide_steroid(_hold(net.courses, setting.eyes), setting.eyes), overridden
    )


def _courses(
    setting: Setting, edits: tuple[Adjustment, ...]
) -> tuple[tuple[Course, ...], tuple[Overridden, ...]]:
    hours = setting.waking.hours
    drafted = [draft_courses(eye, setting.protocol, hours, edits) for eye in setting.eyes]
    courses = merged_by_mouth([course for eye in drafted for course in eye.courses])
    edited = apply_edits(courses, edits, setting.protocol)
    formulary = setting.protocol.formulary
    lost = tuple(o for eye in drafted for o in eye.overridden)
    return tuple(dosed(course, formulary[course.medicine]) for course in edited), lost


def _from_before_start(setting: Setting) -> date:
    """New bottles from the first drop day: an old bottle is not used on a freshly operated eye."""
    return max(eye.first_drop_day for eye in setting.eyes)


def _horizon(courses: Sequence[Course], opened: Sequence[Opened], setting: Setting) -> date:
    """How far the plan speaks of a medicine from before: as long as it follows the patient, and for one
    bottle's life from its day at least, so that stopping the steroid never ends the glaucoma drops."""
    ends = [c.last_day for c in courses if c.last_day]
    alone = timedelta(days=setting.protocol.from_before.days - 1)
    least = max(_from_before_start(setting), setting.as_of) + alone
    return max([*ends, *last_days(opened).values(), least])


def _hold(courses: Sequence[Course], eyes: Sequence[EyeRules]) -> tuple[Course, ...]:
    most = most_a_day(courses)
    held = []
    for course in courses:
        mine = [eye for eye in eyes if course.eye in (None, eye.eye)]
        by = [id_ for eye in mine for id_ in eye.held(course.role, most)]
        held.append(course if course.from_before else hold(course, by))
    return tuple(held)


def needs_of(
    setting: Setting, courses: Sequence[Course], edits: tuple[Adjustment, ...]
) -> tuple[tuple[Opened, ...], tuple[Overridden, ...]]:
    opened: list[Opened] = []
    lost: list[Overridden] = []
    for eye in setting.eyes:
        own = [c for c in courses if c.eye == eye.eye and c.role == "steroid" and not c.from_before]
        days = sum(step.days for c in own for step in c.steps)
        more, lost_here = open_needs(eye, setting.protocol, last_steroid_day(own), days)
        opened += more
        lost += lost_here
        opened += added_needs(eye, setting.protocol, edits)
    return tuple(opened), tuple(lost)


def last_steroid_days(courses: Sequence[Course], eyes: Sequence[EyeRules]) -> dict[str, date]:
    # A steroid drop from before the operation has no end of its own; the looks count from the taper's.
    tapers = [c for c in courses if not c.from_before and c.state != "stopped"]
    days = {eye.eye: last_steroid_day(c for c in tapers if c.eye == eye.eye) for eye in eyes}
    return {eye: day for eye, day in days.items() if day is not None}


def as_given(course: Course) -> Course:
    """A course that is left out has no steps: nobody may read a dose off it. Its looks stand all the same."""
    if course.state != "stopped":
        return course
    nothing = {"steps": (), "taper": None, "goes_on": False, "fixed_times": (), "above_label": None}
    return course.model_copy(update=nothing)
