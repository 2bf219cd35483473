"""The differences between two plans of one patient, in words, most important first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import zip_longest
from typing import Literal

from followup.clinical.careplan import CarePlan, Course, Line, ReviewNeed
from followup.clinical.english import counted, day_words, listed, sentence, steps_words
from followup.clinical.protocol import Protocol

About = Literal["plan", "course", "drops", "end", "bottle", "day", "visit", "need", "question", "caution"]
_COMING = ("proposed", "booked")


class Difference(Line):
    """One thing that differs. ``key`` names the course, need or question, ``was`` and ``now`` the values."""

    about: About
    key: str
    text: str
    was: str = ""
    now: str = ""


def compare_plans(old: CarePlan, new: CarePlan, protocol: Protocol) -> tuple[Difference, ...]:
    """What ``new`` changes of ``old``; empty where nothing differs that a reader could see.

    ``protocol`` gives the medicines their names; one that it does not know is named by its id.
    """
    return (
        *_refusals(old, new),
        *_questions(old, new),
        *_cautions(old, new),
        *_courses(old, new, protocol),
        *_bottles(old, new, protocol),
        *_clock(old, new),
        *_needs(old, new),
        *_visits(old, new),
    )


def _refusals(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    if bool(old.refused) != bool(new.refused):
        text = "The plan must now be made by hand." if new.refused else "The plan is no longer made by hand."
        yield Difference(about="plan", key="refused", text=text)


def _questions(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    was, now = ({(q.id, q.eye): q for q in plan.questions} for plan in (old, new))
    for key, question in now.items():
        if key not in was:
            yield Difference(
                about="question", key=question.id, text=f"A question more: {sentence(question.text)}"
            )
    for key, question in was.items():
        if key not in now:
            yield Difference(
                about="question", key=question.id, text=f"No longer asked: {sentence(question.text)}"
            )


def _cautions(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    was, now = ({(c.id, c.eye, c.text): c for c in plan.cautions} for plan in (old, new))
    levels = {key[:2]: c.level for key, c in was.items()}
    for key, caution in now.items():
        if key not in was:
            yield Difference(
                about="caution", key=caution.id, text=f"A caution more: {sentence(caution.text)}"
            )
        elif levels[key[:2]] != caution.level:
            text = f"The caution {caution.id} is now of the level {caution.level}."
            yield Difference(
                about="caution", key=caution.id, text=text, was=levels[key[:2]], now=caution.level
            )
    for key, caution in was.items():
        if key not in now:
            yield Difference(
                about="caution", key=caution.id, text=f"No longer said: {sentence(caution.text)}"
            )


def _courses(old: CarePlan, new: CarePlan, protocol: Protocol) -> Iterator[Difference]:
    was, now = ({c.key: c for c in plan.courses} for plan in (old, new))
    for key, course in now.items():
        if key in was:
            yield from _course(was[key], course, protocol)
            continue
        text = f"{_named(course, protocol)} is new: {_steps(course) or 'no drops'}."
        yield Difference(about="course", key=key, text=text, now=_steps(course))
    for key, course in was.items():
        if key not in now:
            text = f"{_named(course, protocol)} is no longer in the plan."
            yield Difference(about="course", key=key, text=text, was=_steps(course))


def _course(old: Course, new: Course, protocol: Protocol) -> Iterator[Difference]:
    name = _named(new, protocol)
    if old.medicine != new.medicine:
        text = f"{name} instead of {_named(old, protocol)}."
        yield Difference(about="course", key=new.key, text=text, was=old.medicine, now=new.medicine)
    if old.state != new.state:
        held = f"is held by {listed(new.held_by) or 'a question'}"
        verb = {"active": "is let go", "held": held, "stopped": "is stopped"}
        text = f"{name} {verb[new.state]}."
        yield Difference(about="course", key=new.key, text=text, was=old.state, now=new.state)
    if old.steps == new.steps:
        return
    more = new.drops - old.drops
    unit = ("drop", "drops") if new.eye else ("tablet", "tablets")
    how = (
        f"{counted(abs(more), *unit)} {'more' if more > 0 else 'fewer'}" if more else "as many, on other days"
    )
    text = f"{name}: {how}; now {_steps(new) or 'none'}."
    yield Difference(about="drops", key=new.key, text=text, was=_steps(old), now=_steps(new))
    yield from _end(name, old, new)


def _end(name: str, old: Course, new: Course) -> Iterator[Difference]:
    if new.last_day is None or old.last_day == new.last_day:
        return
    text = f"{name} ends {day_words(new.last_day)}"
    if old.last_day is not None:
        text += f", {_later(old.last_day, new.last_day)}"
    yield Difference(
        about="end", key=new.key, text=f"{text}.", was=_iso(old.last_day), now=_iso(new.last_day)
    )


def _bottles(old: CarePlan, new: CarePlan, protocol: Protocol) -> Iterator[Difference]:
    keys = dict.fromkeys(c.key for plan in (old, new) for c in plan.courses)
    for key in keys:
        was, now = ([b for b in plan.supply if b.course == key] for plan in (old, new))
        course = next(c for plan in (new, old) for c in plan.courses if c.key == key)
        more = len(now) - len(was)
        if more:
            word = "more" if more > 0 else "fewer"
            text = f"{_named(course, protocol)}: {counted(abs(more), 'bottle', 'bottles')} {word}."
            yield Difference(about="bottle", key=key, text=text, was=str(len(was)), now=str(len(now)))
        elif [b.opened for b in was] != [b.opened for b in now]:
            days = listed(day_words(b.opened) for b in now)
            text = f"{_named(course, protocol)}: the bottles are now opened on {days}."
            yield Difference(about="bottle", key=key, text=text)


def _clock(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    was, now = (sorted({time for phase in plan.rounds for time in phase.times}) for plan in (old, new))
    fresh = [time for time in now if time not in was]
    gone = [time for time in was if time not in now]
    for times, text in ((fresh, "There is now a round at {}."), (gone, "There is no round any more at {}.")):
        if times:
            told = Difference(about="day", key=times[0], text=text.format(listed(times)))
            yield told.model_copy(update={"now" if times is fresh else "was": ", ".join(times)})
    if was == now and [(p.start, p.times) for p in old.rounds] != [(p.start, p.times) for p in new.rounds]:
        yield Difference(about="day", key="rounds", text="The same clock times, on other dates.")


def _needs(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    was, now = ({n.key: n for n in plan.needs} for plan in (old, new))
    for key, need in now.items():
        if key not in was:
            yield Difference(
                about="need", key=key, text=f"{_what(need)} is new: {_window(need)}.", now=_window(need)
            )
        elif _window(was[key]) != _window(need):
            text = f"{_what(need)}: {_moved_edges(was[key], need)}."
            yield Difference(about="need", key=key, text=text, was=_window(was[key]), now=_window(need))
        if need.state == "impossible" and (key not in was or was[key].state != "impossible"):
            yield Difference(about="need", key=key, text=f"{_what(need)}: no day can serve it any more.")
    for key, need in was.items():
        if key not in now:
            yield Difference(about="need", key=key, text=f"{_what(need)} is no longer needed.")


def _visits(old: CarePlan, new: CarePlan) -> Iterator[Difference]:
    was, now = (sorted({t.date for t in p.trips if t.status in _COMING}) for p in (old, new))
    gone, fresh = ([d for d in days if d not in others] for days, others in ((was, now), (now, was)))
    for before, after in _moved(gone, fresh):
        text = f"The visit of {day_words(before)} moves to {day_words(after)}."
        yield Difference(about="visit", key=_iso(after), text=text, was=_iso(before), now=_iso(after))
    for day in fresh[len(gone) :]:
        yield Difference(
            about="visit", key=_iso(day), text=f"One visit more, on {day_words(day)}.", now=_iso(day)
        )
    for day in gone[len(fresh) :]:
        yield Difference(
            about="visit", key=_iso(day), text=f"One visit fewer: none on {day_words(day)}.", was=_iso(day)
        )


def _moved(gone: Sequence[date], fresh: Sequence[date]) -> Iterator[tuple[date, date]]:
    yield from ((a, b) for a, b in zip_longest(gone, fresh) if a is not None and b is not None)


def _later(old: date, new: date) -> str:
    days = (new - old).days
    return f"{counted(abs(days), 'day', 'days')} {'later' if days > 0 else 'earlier'}"


def _named(course: Course, protocol: Protocol) -> str:
    medicine = protocol.formulary.get(course.medicine)
    where = f"{course.eye} eye" if course.eye else "by mouth"
    return f"{medicine.label if medicine else course.medicine}, {where}"


def _steps(course: Course) -> str:
    """The steps in words, with equal counts that follow each other told as one."""
    runs: list[tuple[int, int]] = []
    for step in course.steps:
        if runs and runs[-1][0] == step.count:
            runs[-1] = (step.count, runs[-1][1] + step.days)
        else:
            runs.append((step.count, step.days))
    return steps_words(runs)


def _what(need: ReviewNeed) -> str:
    name = need.key.partition(":")[2].replace("-", " ")
    return f"{name.capitalize()}, {need.eye} eye" if need.eye else name.capitalize()


def _window(need: ReviewNeed) -> str:
    return f"{day_words(need.earliest)} to {day_words(need.latest)}, best {day_words(need.target)}"


def _moved_edges(old: ReviewNeed, new: ReviewNeed) -> str:
    edges = {"first day": "earliest", "best day": "target", "last day": "latest"}
    return ", ".join(
        f"{words} {day_words(getattr(new, edge))} instead of {day_words(getattr(old, edge))}"
        for words, edge in edges.items()
        if getattr(new, edge) != getattr(old, edge)
    )


def _iso(day: date | None) -> str:
    return day.isoformat() if day else ""
