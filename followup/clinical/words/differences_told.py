"""The differences between two plans in sentences: one set of them for the pages and the command line.

``clinical`` knows no language: whoever asks hands in the words, and English is one of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import reduce
from math import ceil
from typing import Protocol as Shape

from followup.clinical.careplan import Caution, Course, Question, ReviewNeed, Step
from followup.clinical.day_plan import Bottle, halves
from followup.clinical.english import day_words
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.protocol.rule import StepDef
from followup.clinical.record import Eye
from followup.clinical.words.differences import (
    BottlesDiffer,
    CautionDiffers,
    CourseDiffers,
    Difference,
    HandDiffers,
    NeedDiffers,
    QuestionDiffers,
    TimesDiffer,
    VisitDiffers,
    runs,
)
from followup.said import say


class Plurals(Shape):
    """A language that counts."""

    def ngettext(self, singular: str, plural: str, n: int, /) -> str: ...


class DifferenceWords(Plurals, Shape):
    """What a language says. ``told`` puts a sentence of the rules into it."""

    def gettext(self, message: str, /) -> str: ...
    def told(self, text: str, /) -> str: ...
    def day(self, day: date, /) -> str: ...
    def eye(self, eye: Eye | None, /) -> str: ...
    def medicine(self, key: str, /) -> str: ...
    def look(self, kind: str, /) -> str: ...


@dataclass(frozen=True)
class English:
    """Plain English, with the protocol's names; what it does not know is named by its id."""

    protocol: Protocol

    def gettext(self, message: str, /) -> str:
        return message

    def ngettext(self, singular: str, plural: str, n: int, /) -> str:
        return singular if n == 1 else plural

    def told(self, text: str, /) -> str:
        return text

    def day(self, day: date, /) -> str:
        return day_words(day)

    def eye(self, eye: Eye | None, /) -> str:
        return f"{eye} eye" if eye else "by mouth"

    def medicine(self, key: str, /) -> str:
        return label_of(key, self.protocol.formulary)

    def look(self, kind: str, /) -> str:
        return text_of(kind, self.protocol.kinds)


@dataclass(frozen=True)
class DifferenceTold:
    """A difference in a sentence; ``was`` and ``now`` say more where the sentence does not say all."""

    text: str
    was: str = ""
    now: str = ""


def said(difference: Difference, words: DifferenceWords) -> DifferenceTold:
    """One difference in the words of a language."""
    match difference:
        case HandDiffers(by_hand):
            return DifferenceTold(_hand(by_hand, words))
        case QuestionDiffers(question, new):
            return DifferenceTold(_question(question, new, words))
        case CautionDiffers(was, now):
            return DifferenceTold(_caution(was, now, words))
        case CourseDiffers():
            return _course(difference, words)
        case VisitDiffers(before, after):
            return DifferenceTold(_visit(before, after, words))
        case TimesDiffer(new_times, gone):
            return DifferenceTold(_times(new_times, gone, words))
        case BottlesDiffer(course, was_there, there):
            return _bottles(course, was_there, there, words)
        case NeedDiffers(was_due, due, impossible):
            return _need(was_due, due, impossible, words)


def _hand(by_hand: bool, words: DifferenceWords) -> str:
    if by_hand:
        return words.gettext("The plan must now be made by hand.")
    return words.gettext("The plan is no longer made by hand.")


def _question(question: Question, new: bool, words: DifferenceWords) -> str:
    told = {"question": _of_eye(question.text, question.eye, words)}
    if new:
        return words.gettext("A new question: %(question)s") % told
    return words.gettext("No longer asked: %(question)s") % told


def _caution(was: Caution | None, now: Caution | None, words: DifferenceWords) -> str:
    caution = now or was
    assert caution is not None
    told = {"caution": _of_eye(caution.text, caution.eye, words)}
    if now is None:
        return words.gettext("A caution that is gone: %(caution)s") % told
    if was is None:
        return words.gettext("A new caution: %(caution)s") % told
    if now.level == "stop":
        return words.gettext("This caution now stops the signature: %(caution)s") % told
    if was.level == "stop":
        return words.gettext("This caution no longer stops the signature: %(caution)s") % told
    return words.gettext("This caution has another weight now: %(caution)s") % told


def _of_eye(text: str, eye: Eye | None, words: DifferenceWords) -> str:
    if eye is None:
        return words.told(text)
    return words.gettext("%(text)s (%(eye)s)") % {"text": words.told(text), "eye": words.eye(eye)}


def _course(difference: CourseDiffers, words: DifferenceWords) -> DifferenceTold:
    was, now = difference.was, difference.now
    what = {"what": _what(difference.course, words)}
    steps = tuple(_steps(course, words) if course else "" for course in (was, now))
    match difference.about:
        case "new":
            return DifferenceTold(words.gettext("%(what)s: new in the plan.") % what, *steps)
        case "gone":
            return DifferenceTold(words.gettext("%(what)s: no longer in the plan.") % what, *steps)
    assert was is not None
    assert now is not None
    match difference.about:
        case "medicine":
            text = words.gettext("%(what)s instead of %(old)s.") % {
                **what,
                "old": words.medicine(was.medicine),
            }
            return DifferenceTold(text)
        case "state":
            return DifferenceTold(_state(now, words) % what)
        case "steps":
            return DifferenceTold(_amount(was, now, what, words), *steps)
        case "dose":
            return DifferenceTold(words.gettext("%(what)s: another dose a day.") % what)
    return DifferenceTold(_end(was, now, what, words))


def _state(course: Course, words: DifferenceWords) -> str:
    return {
        "active": words.gettext("%(what)s: no longer held, now runs."),
        "held": words.gettext("%(what)s: held until its question is answered."),
        "stopped": words.gettext("%(what)s: stopped."),
    }[course.state]


def _amount(was: Course, now: Course, what: dict[str, str], words: DifferenceWords) -> str:
    if was.goes_on or now.goes_on:
        # With no last day there is no number of tablets to be more or fewer.
        return words.gettext("%(what)s: another dose a day.") % what
    more = _taken(now) - _taken(was)
    # Half a tablet has the words of one.
    count = ceil(abs(more))
    if more == 0 and now.eye:
        text = words.gettext("%(what)s: the same number of drops, on other days.")
    elif more == 0:
        text = words.gettext("%(what)s: the same number of tablets, on other days.")
    elif more > 0 and now.eye:
        text = words.ngettext(
            "%(what)s: %(count)s drop more, %(all)s in all.",
            "%(what)s: %(count)s drops more, %(all)s in all.",
            count,
        )
    elif more > 0:
        text = words.ngettext(
            "%(what)s: %(count)s tablet more, %(all)s in all.",
            "%(what)s: %(count)s tablets more, %(all)s in all.",
            count,
        )
    elif now.eye:
        text = words.ngettext(
            "%(what)s: %(count)s drop fewer, %(all)s in all.",
            "%(what)s: %(count)s drops fewer, %(all)s in all.",
            count,
        )
    else:
        text = words.ngettext(
            "%(what)s: %(count)s tablet fewer, %(all)s in all.",
            "%(what)s: %(count)s tablets fewer, %(all)s in all.",
            count,
        )
    return text % {**what, "count": halves(abs(more)), "all": halves(_taken(now))}


def _taken(course: Course) -> float:
    """Drops; of tablets how many are swallowed, where the record says how many make a dose."""
    if course.eye is not None:
        return course.drops
    return sum(step.days * step.count * (step.tablets or 1) for step in course.steps)


def _end(was: Course, now: Course, what: dict[str, str], words: DifferenceWords) -> str:
    assert now.last_day is not None
    told = {**what, "day": words.day(now.last_day)}
    if was.last_day is None or was.goes_on:
        return words.gettext("%(what)s: the last day is %(day)s.") % told
    later = (now.last_day - was.last_day).days
    if later > 0:
        text = words.ngettext(
            "%(what)s: the last day is %(day)s, %(count)s day later.",
            "%(what)s: the last day is %(day)s, %(count)s days later.",
            later,
        )
    else:
        text = words.ngettext(
            "%(what)s: the last day is %(day)s, %(count)s day earlier.",
            "%(what)s: the last day is %(day)s, %(count)s days earlier.",
            -later,
        )
    return text % {**told, "count": abs(later)}


def _visit(was: date | None, now: date | None, words: DifferenceWords) -> str:
    if was and now:
        return words.gettext("The visit on %(old)s moves to %(new)s.") % {
            "old": words.day(was),
            "new": words.day(now),
        }
    if now:
        return words.gettext("A new visit on %(day)s.") % {"day": words.day(now)}
    assert was is not None
    return words.gettext("No visit any more on %(day)s.") % {"day": words.day(was)}


def _times(new: tuple[str, ...], gone: tuple[str, ...], words: DifferenceWords) -> str:
    told = {"times": _listed(new, words), "gone": _listed(gone, words)}
    if new and gone:
        return words.gettext("New clock times: %(times)s. No longer: %(gone)s.") % told
    if new:
        return (
            words.ngettext(
                "A clock time that is new to the patient: %(times)s.",
                "Clock times that are new to the patient: %(times)s.",
                len(new),
            )
            % told
        )
    if gone:
        return words.gettext("No drops any more at: %(gone)s.") % told
    return words.gettext("The daily times change, with no clock time that is new to the patient.")


def _bottles(
    course: Course, was: tuple[Bottle, ...], now: tuple[Bottle, ...], words: DifferenceWords
) -> DifferenceTold:
    what = {"what": _what(course, words)}
    days = tuple(_listed((words.day(bottle.opened) for bottle in bottles), words) for bottles in (was, now))
    more = len(now) - len(was)
    if more == 0:
        return DifferenceTold(words.gettext("%(what)s: bottles are opened on other days.") % what, *days)
    if more > 0:
        text = words.ngettext("%(what)s: %(count)s bottle more.", "%(what)s: %(count)s bottles more.", more)
    else:
        text = words.ngettext(
            "%(what)s: %(count)s bottle fewer.", "%(what)s: %(count)s bottles fewer.", -more
        )
    return DifferenceTold(text % {**what, "count": abs(more)}, *days)


def _need(
    was: ReviewNeed | None, now: ReviewNeed | None, impossible: bool, words: DifferenceWords
) -> DifferenceTold:
    need = now or was
    assert need is not None
    parts = [words.look(need.kind), *([words.eye(need.eye)] if need.eye else [])]
    what = {"what": _listed(parts, words)}
    if impossible:
        return DifferenceTold(words.gettext("To look at: %(what)s. No day is left for it.") % what)
    windows = tuple(_window(each, words) if each else "" for each in (was, now))
    if was is None:
        return DifferenceTold(words.gettext("New to look at: %(what)s.") % what, *windows)
    if now is None:
        return DifferenceTold(words.gettext("No longer to look at: %(what)s.") % what, *windows)
    return DifferenceTold(words.gettext("To look at on other days: %(what)s.") % what, *windows)


def _window(need: ReviewNeed, words: DifferenceWords) -> str:
    if need.earliest == need.latest:
        return words.day(need.target)
    return words.gettext("%(start)s to %(end)s, best on %(day)s") % {
        "start": words.day(need.earliest),
        "end": words.day(need.latest),
        "day": words.day(need.target),
    }


def _what(course: Course, words: DifferenceWords) -> str:
    return words.gettext("%(medicine)s, %(eye)s") % {
        "medicine": words.medicine(course.medicine),
        "eye": words.eye(course.eye),
    }


def _steps(course: Course, words: DifferenceWords) -> str:
    if course.goes_on:
        return ""
    return _listed((_step(step, words) for step in runs(course.steps)), words)


def _step(step: Step, words: DifferenceWords) -> str:
    if step.count:
        return step_told(step, words)
    return words.ngettext("none for %(num)s day", "none for %(num)s days", step.days) % {"num": step.days}


def step_told(step: Step | StepDef, words: Plurals) -> str:
    """Such as "4 a day for 7 days", in the language of ``words``; of tablets how many each time."""
    values = {"count": step.count, "num": step.days}
    if not isinstance(step, Step) or not step.tablets:
        text = words.ngettext(
            "%(count)s a day for %(num)s day", "%(count)s a day for %(num)s days", step.days
        )
        return text % values
    text = words.ngettext(
        "%(mg)s mg a day (tablets each time: %(tablets)s, %(count)s a day) for %(num)s day",
        "%(mg)s mg a day (tablets each time: %(tablets)s, %(count)s a day) for %(num)s days",
        step.days,
    )
    return text % {**values, "mg": f"{step.mg or 0:g}", "tablets": step.tablets_figure}


def _listed(parts: Iterable[str], words: DifferenceWords) -> str:
    """The parts with the language's own comma between."""
    told = list(parts)
    both = words.gettext("%(first)s, %(last)s")
    return reduce(lambda first, last: both % {"first": first, "last": last}, told) if told else ""


def in_english(differences: Iterable[Difference], protocol: Protocol) -> tuple[str, ...]:
    """A line each, for the command line and for whoever compares protocols."""
    told = (said(difference, English(protocol)) for difference in differences)
    return tuple(
        say("{text} Now: {now}.", text=one.text, now=one.now) if one.now else one.text for one in told
    )
