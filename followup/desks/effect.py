"""What a change does, in sentences: said before anything is signed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from followup.clinical.careplan import CarePlan, Course
from followup.desks.words import Texts


def effect(old: CarePlan, new: CarePlan, texts: Texts, name: Callable[[Course], str]) -> tuple[str, ...]:
    """The difference between two plans of one patient, most important first; empty: none."""
    return (
        *_courses(old, new, texts, name),
        *_rounds(old, new, texts),
        *_bottles(old, new, texts),
        *_trips(old, new, texts),
        *_questions(old, new, texts),
    )


def _courses(old: CarePlan, new: CarePlan, texts: Texts, name: Callable[[Course], str]) -> Iterator[str]:
    before = {course.key: course for course in old.courses}
    now = {course.key: course for course in new.courses}
    for key, course in now.items():
        yield from _course(before.get(key), course, texts, name)
    for key, course in before.items():
        if key not in now:
            yield texts.gettext("%(what)s: no longer in the plan.") % {"what": _what(course, texts, name)}


def _course(old: Course | None, new: Course, texts: Texts, name: Callable[[Course], str]) -> Iterator[str]:
    what = {"what": _what(new, texts, name)}
    if old is None:
        yield texts.gettext("%(what)s: new in the plan.") % what
        return
    if old.medicine != new.medicine:
        yield texts.gettext("%(what)s instead of %(old)s.") % {**what, "old": name(old)}
    if old.state != new.state:
        said = {
            "active": texts.gettext("%(what)s: no longer held, now runs."),
            "held": texts.gettext("%(what)s: held until its question is answered."),
            "stopped": texts.gettext("%(what)s: stopped."),
        }
        yield said[new.state] % what
    more = new.drops - old.drops
    if more > 0:
        yield texts.ngettext(
            "%(what)s: %(count)s drop more, %(all)s in all.",
            "%(what)s: %(count)s drops more, %(all)s in all.",
            more,
        ) % {**what, "count": more, "all": new.drops}
    elif more < 0:
        yield texts.ngettext(
            "%(what)s: %(count)s drop fewer, %(all)s in all.",
            "%(what)s: %(count)s drops fewer, %(all)s in all.",
            -more,
        ) % {**what, "count": -more, "all": new.drops}
    elif old.steps != new.steps:
        yield texts.gettext("%(what)s: the same number of drops, on other days.") % what
    yield from _end(old.last_day, new.last_day, what, texts)


def _end(old: date | None, new: date | None, what: dict[str, str], texts: Texts) -> Iterator[str]:
    if new is not None and old != new:
        yield texts.gettext("%(what)s: the last day is %(day)s.") % {**what, "day": texts.day(new)}


def _rounds(old: CarePlan, new: CarePlan, texts: Texts) -> Iterator[str]:
    times_before = {time for phase in old.rounds for time in phase.times}
    fresh = sorted({time for phase in new.rounds for time in phase.times} - times_before)
    if old.rounds and fresh:
        yield texts.ngettext(
            "A clock time that is new to the patient: %(times)s.",
            "Clock times that are new to the patient: %(times)s.",
            len(fresh),
        ) % {"times": ", ".join(fresh)}
    elif old.rounds != new.rounds and old.rounds:
        yield texts.gettext("The daily times change, with no clock time that is new to the patient.")


def _bottles(old: CarePlan, new: CarePlan, texts: Texts) -> Iterator[str]:
    more = len(new.supply) - len(old.supply)
    if more > 0:
        yield texts.ngettext("%(count)s bottle more.", "%(count)s bottles more.", more) % {"count": more}
    elif more < 0:
        yield texts.ngettext("%(count)s bottle fewer.", "%(count)s bottles fewer.", -more) % {"count": -more}


def _trips(old: CarePlan, new: CarePlan, texts: Texts) -> Iterator[str]:
    before, now = (
        sorted({t.date for t in p.trips if t.status in ("proposed", "booked")}) for p in (old, new)
    )
    gone = [day for day in before if day not in now]
    fresh = [day for day in now if day not in before]
    for was, is_ in zip(gone, fresh, strict=False):
        yield texts.gettext("The visit on %(old)s moves to %(new)s.") % {
            "old": texts.day(was),
            "new": texts.day(is_),
        }
    for day in fresh[len(gone) :]:
        yield texts.gettext("A new visit on %(day)s.") % {"day": texts.day(day)}
    for day in gone[len(fresh) :]:
        yield texts.gettext("No visit any more on %(day)s.") % {"day": texts.day(day)}


def _questions(old: CarePlan, new: CarePlan, texts: Texts) -> Iterator[str]:
    asked = {question.id for question in old.questions}
    for question in new.questions:
        if question.id not in asked:
            yield texts.gettext("A new question: %(question)s") % {"question": question.text}


def _what(course: Course, texts: Texts, name: Callable[[Course], str]) -> str:
    return texts.gettext("%(medicine)s, %(eye)s") % {"medicine": name(course), "eye": texts.eye(course.eye)}
