"""Courses: what the rules that fired want an eye to be given, joined into one course a role."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.adjustments import Adjustment, CourseAdded, CourseEdit
from followup.clinical.careplan import Course, Overridden, Reason
from followup.clinical.english import counted, joined, steps_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.facts.fire import Fired
from followup.clinical.plan.keys_told import role_words
from followup.clinical.plan.taper import as_steps, counts_each_day, cut_from, daily_counts, envelope, winners
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.rule import CourseEffect, Taper
from followup.clinical.record import Eye
from followup.clinical.record.base import MedicineRole
from followup.errors import FollowupError
from followup.said import say

# Not steroid and antiviral: the steroid comes first because others are counted from its end.
JOINED: tuple[MedicineRole, ...] = (
    "nsaid",
    "antibiotic",
    "cycloplegic",
    "pressure",
    "lubricant",
    "salt",
    "other",
)


@dataclass(frozen=True)
class WantedCourse:
    """One rule's wish for a course as counts a day from the first day of the course."""

    fired: Fired
    counts: tuple[int, ...]
    words: str
    taper: Taper | None = None


@dataclass(frozen=True)
class DraftedCourses:
    """Courses of one eye and what lost on the way."""

    courses: tuple[Course, ...]
    overridden: tuple[Overridden, ...]


def draft_courses(
    rules: EyeRules, protocol: Protocol, hours_awake: int, adjustments: Sequence[Adjustment] = ()
) -> DraftedCourses:
    """All courses that the rules want for this eye, each with its reasons and what it overrode.

    ``adjustments`` are not made here; they only say when the steroid will have ended, because an
    antiviral cover is counted from there.
    """
    hourly = protocol.hourly.drops(hours_awake)
    steroid, lost = _steroid(rules, protocol, hourly)
    courses = list(steroid)
    last = last_steroid_day(_adjusted_steroid(rules.eye, steroid, adjustments, protocol))
    for role in JOINED:
        drafted = _joined(rules, protocol, role, hourly)
        courses += drafted.courses
        lost += drafted.overridden
    courses += _treatment(rules, protocol) or _after_steroid(rules, protocol, last)
    return DraftedCourses(tuple(courses), lost)


def last_steroid_day(courses: Iterable[Course]) -> date | None:
    """L: the last day on steroid drops. A course that waits or is left out counts as if it were given, so
    that no answer means fewer looks."""
    days = [c.last_day for c in courses if c.role == "steroid" and c.last_day]
    return max(days, default=None)


def _adjusted_steroid(
    eye: Eye, steroid: Sequence[Course], adjustments: Sequence[Adjustment], protocol: Protocol
) -> tuple[Course, ...]:
    """The steroid of this eye with what the surgeon has changed in it and added to it."""
    added = [a for a in adjustments if isinstance(a, CourseAdded) and a.eye == eye]
    courses = apply_edits(steroid, added, protocol)
    keys = {course.key for course in courses}
    edits = [a for a in adjustments if isinstance(a, CourseEdit) and a.course in keys]
    return apply_edits(courses, edits, protocol)


def _steroid(rules: EyeRules, protocol: Protocol, hourly: int) -> tuple[list[Course], tuple[Overridden, ...]]:
    effects = rules.wanting("steroid")
    wanted, replaced = _stand_ins(effects, protocol)
    wishes = [_taper_wish(f, protocol.tapers[e.taper], hourly) for f, e in wanted if e.taper]
    if not wishes:
        return [], replaced
    best = winners([w.counts for w in wishes])
    chosen = [wishes[i] for i in best]
    losers = [w for i, w in enumerate(wishes) if i not in best]
    lost = (*replaced, *_overridden(losers, chosen))
    counts = envelope([w.counts for w in wishes])
    medicine = _medicine(rules, effects, protocol, "steroid")
    name = " and ".join(w.taper.id for w in chosen if w.taper)
    split = _weaker_day(chosen, hourly)
    first = _course(rules, "steroid", medicine, counts[:split], chosen, lost, taper=name)
    if split is None or split >= len(counts):
        return [first], lost
    weaker = _picked(rules, protocol, "steroid", "-weaker") or protocol.usual_medicine("steroid_weaker")
    second = _course(
        rules, "steroid", weaker, counts[split:], chosen, lost, taper=name, late=split, suffix="-weaker"
    )
    return [first, second], lost


def _stand_ins(
    effects: Sequence[tuple[Fired, CourseEffect]], protocol: Protocol
) -> tuple[list[tuple[Fired, CourseEffect]], tuple[Overridden, ...]]:
    """Let a taper stand in for the one it replaces; where that one does not fire, it has no place."""
    tapers = {e.taper for _, e in effects if e.taper and not e.replaces}
    stands = [(f, e) for f, e in effects if e.replaces in tapers]
    stands = sorted(stands, key=lambda pair: -pair[0].rule.rank)
    by_replaced = {e.replaces: f for f, e in reversed(stands)}
    kept, lost = [], []
    for fired, effect in effects:
        if effect.replaces and by_replaced.get(effect.replaces) is not fired:
            winner = by_replaced.get(effect.replaces)
            to = winner.rule.id if winner else "no course to stand in for"
            lost.append(_lost(fired, _named(effect, protocol), to))
        elif not effect.replaces and effect.taper in by_replaced:
            lost.append(_lost(fired, _named(effect, protocol), by_replaced[effect.taper].rule.id))
        else:
            kept.append((fired, effect))
    return kept, tuple(lost)


def _named(effect: CourseEffect, protocol: Protocol) -> str:
    return protocol.tapers[str(effect.taper)].words


def _taper_wish(fired: Fired, taper: Taper, hourly: int) -> WantedCourse:
    return WantedCourse(fired, daily_counts(taper.steps, hourly), taper.words, taper)


def _weaker_day(chosen: Sequence[WantedCourse], hourly: int) -> int | None:
    """From which day of the course on the weaker steroid is given: only if one taper alone decides."""
    if len(chosen) != 1 or chosen[0].taper is None or chosen[0].taper.weaker_from is None:
        return None
    taper = chosen[0].taper
    return len(daily_counts(taper.steps[: taper.weaker_from], hourly))


def _joined(rules: EyeRules, protocol: Protocol, role: MedicineRole, hourly: int) -> DraftedCourses:
    """One course of ``role``: the envelope of all wishes, so the longest NSAID and antibiotic win."""
    effects = rules.wanting(role)
    if not effects:
        return DraftedCourses((), ())
    medicine = _medicine(rules, effects, protocol, role)
    wishes = [wish for f, e in effects if (wish := _wish(f, e, medicine, hourly)) is not None]
    if not wishes:
        return DraftedCourses((), ())
    best = winners([w.counts for w in wishes])
    chosen = [wishes[i] for i in best]
    lost = _overridden([w for i, w in enumerate(wishes) if i not in best], chosen)
    counts = envelope([w.counts for w in wishes])
    return DraftedCourses((_course(rules, role, medicine, counts, chosen, lost),), lost)


def _wish(fired: Fired, effect: CourseEffect, medicine: Medicine, hourly: int) -> WantedCourse | None:
    if effect.steps is not None:
        return WantedCourse(
            fired,
            daily_counts(effect.steps, hourly),
            joined((role_words(effect.role), steps_words((s.count, s.days) for s in effect.steps))),
        )
    if effect.days is not None:
        length = counted(effect.days, "day", "days")
        count = effect.count or medicine.label_count
        if count is None:
            raise FollowupError(
                "protocol.count",
                say("{id} has no usual count a day", id=medicine.id),
                where=say("rule {id}", id=fired.rule.id),
                fix=say("add label_count to the formulary or count to the rule"),
            )
        return WantedCourse(
            fired,
            (count,) * effect.days,
            say("{role} for {length}", role=role_words(effect.role), length=length),
        )
    return None


def _medicine(
    rules: EyeRules, effects: Sequence[tuple[Fired, CourseEffect]], protocol: Protocol, role: MedicineRole
) -> Medicine:
    """The surgeon's own product, else that of the highest-ranking rule that names one, else the usual."""
    if own := _picked(rules, protocol, role):
        return own
    naming = [(f.rule.rank, e.medicine) for f, e in effects if e.medicine]
    if naming:
        return protocol.formulary[max(naming, key=lambda pair: pair[0])[1]]
    return protocol.usual_medicine(role)


def _picked(rules: EyeRules, protocol: Protocol, role: MedicineRole, suffix: str = "") -> Medicine | None:
    """The product that the surgeon picked: for this course by its key, else for its kind."""
    key = course_key(rules.eye, role, suffix)
    for product in rules.context.operation.products:
        if product.role == role and (product.course == key or (product.course is None and not suffix)):
            return protocol.formulary[product.medicine]
    return None


def course_key(eye: Eye, role: MedicineRole, suffix: str = "") -> str:
    """The name of a course of the plan, such as "right:steroid"."""
    return f"{eye}:{role.replace(' ', '-')}{suffix}"


def _course(
    rules: EyeRules,
    role: MedicineRole,
    medicine: Medicine,
    counts: Sequence[int],
    chosen: Sequence[WantedCourse],
    lost: Sequence[Overridden],
    *,
    taper: str | None = None,
    late: int = 0,
    suffix: str = "",
) -> Course:
    start = _start(rules, role) + timedelta(days=late)
    losers = tuple(dict.fromkeys(entry.rule for entry in lost))
    reasons = tuple(w.fired.over(losers) for w in chosen)
    stops = rules.stopped(role)
    return Course(
        key=course_key(rules.eye, role, suffix),
        role=role,
        medicine=medicine.id,
        eye=rules.eye,
        state="stopped" if stops else "active",
        steps=as_steps(counts, start),
        taper=taper,
        reasons=reasons + tuple(f.reason for f in stops),
    )


def _start(rules: EyeRules, role: MedicineRole) -> date:
    """The first drop day, or the later day on which a held course was let go."""
    return max(rules.first_drop_day, rules.released.get(role, rules.day0))


def _after_steroid(rules: EyeRules, protocol: Protocol, last: date | None) -> list[Course]:
    """Courses that run until some days after the last steroid day (an antiviral cover), each once."""
    courses: dict[str, Course] = {}
    for fired, effect in rules.wanting("antiviral"):
        if effect.until_after_steroid is None or effect.count is None or last is None:
            continue
        medicine = _medicine(rules, [(fired, effect)], protocol, "antiviral")
        begin = rules.day0 + timedelta(days=effect.from_day or 0)
        days = (last - begin).days + effect.until_after_steroid + 1
        course = _antiviral(rules, medicine, effect.count, begin, days, fired.reason)
        longest = courses.setdefault(course.key, course)
        if longest.drops < course.drops:
            courses[course.key] = course
    return list(courses.values())


def _treatment(rules: EyeRules, protocol: Protocol) -> list[Course]:
    """The treatment of active herpes as the surgeon has ordered it; it stands in for a cover."""
    keratitis = rules.context.history.herpetic_keratitis
    if keratitis is None or keratitis.treatment is None:
        return []
    ordered = keratitis.treatment
    medicine = protocol.formulary[ordered.medicine]
    reason = Reason(
        rule="herpes-treatment-ordered",
        because=say("The treatment of the herpes, as the surgeon ordered it: no prevention."),
        source="the surgeon's order",
        mark="C",
    )
    return [_antiviral(rules, medicine, ordered.count_a_day, rules.day0, ordered.days, reason)]


def _antiviral(
    rules: EyeRules, medicine: Medicine, count: int, begin: date, days: int, reason: Reason
) -> Course:
    """An antiviral from ``begin``, or from the later day on which it was let go, to the same end."""
    start = max(begin, rules.released.get("antiviral", rules.day0))
    by_mouth = medicine.route == "mouth"
    return Course(
        key="mouth:antiviral" if by_mouth else course_key(rules.eye, "antiviral"),
        role="antiviral",
        medicine=medicine.id,
        eye=None if by_mouth else rules.eye,
        steps=as_steps((count,) * (days - (start - begin).days), start),
        reasons=(reason,),
    )


def _overridden(losers: Sequence[WantedCourse], chosen: Sequence[WantedCourse]) -> tuple[Overridden, ...]:
    to = ", ".join(w.fired.rule.id for w in chosen)
    return tuple(_lost(w.fired, w.words, to) for w in losers)


def _lost(fired: Fired, wanted: str, to: str) -> Overridden:
    return Overridden(rule=fired.rule.id, wanted=wanted, lost_to=to, reason=fired.reason)


def ended_by_edit(adjustments: Sequence[Adjustment]) -> frozenset[str]:
    """The courses whose newest signed change ended them."""
    newest = {edit.course: edit for edit in adjustments if isinstance(edit, CourseEdit)}
    return frozenset(key for key, edit in newest.items() if not edit.steps)


def apply_edits(
    courses: Sequence[Course], adjustments: Sequence[Adjustment], protocol: Protocol
) -> tuple[Course, ...]:
    """The surgeon's signed changes: from their day on, a course runs as edited; before, as it was."""
    added = [_added(a, protocol) for a in adjustments if isinstance(a, CourseAdded)]
    courses = (*courses, *named_apart(added, {course.key for course in courses}))
    edits = [a for a in adjustments if isinstance(a, CourseEdit)]
    known = {course.key for course in courses}
    for edit in edits:
        if edit.course not in known:
            raise FollowupError(
                "edit.course",
                say('no course "{course}"', course=edit.course),
                where=say("edit"),
                fix=say("name one of {known}", known=", ".join(sorted(known))),
            )
    return tuple(_edited(course, [e for e in edits if e.course == course.key]) for course in courses)


def _added(adjustment: CourseAdded, protocol: Protocol) -> Course:
    medicine = protocol.formulary.get(adjustment.medicine)
    if medicine is None:
        raise FollowupError(
            "edit.medicine",
            say('no medicine "{medicine}" in the formulary', medicine=adjustment.medicine),
            where=say("edit"),
            fix=say("use an id of the formulary"),
        )
    reason = Reason(
        rule="surgeon", because=adjustment.reason, source=say("added by {by}", by=adjustment.by), mark="C"
    )
    return Course(
        key=f"{adjustment.eye or 'mouth'}:{medicine.id}",
        role=medicine.role,
        medicine=medicine.id,
        eye=adjustment.eye,
        steps=as_steps(counts_each_day(adjustment.steps), adjustment.starts),
        reasons=(reason,),
    )


def named_apart(courses: Iterable[Course], taken: Iterable[str] = ()) -> tuple[Course, ...]:
    """Courses under keys of their own, numbered where one medicine stands twice."""
    named: list[Course] = []
    names = set(taken)
    for course in courses:
        number, key = 1, course.key
        while key in names:
            number += 1
            key = f"{course.key}-{number}"
        names.add(key)
        named.append(course.model_copy(update={"key": key}))
    return tuple(named)


def _edited(course: Course, edits: Sequence[CourseEdit]) -> Course:
    for edit in edits:
        changed = as_steps(counts_each_day(edit.steps), edit.starts)
        steps = (*cut_from(course.steps, edit.starts), *changed)
        reason = Reason(
            rule="surgeon", because=edit.reason, source=say("changed by {by}", by=edit.by), mark="C"
        )
        course = course.model_copy(update={"steps": steps, "reasons": (*course.reasons, reason)})
    return course
