"""Writing a message in the reader's language, from what the plan in force says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from followup.clinical.careplan import Course
from followup.clinical.protocol.formulary import Medicine, label_of
from followup.language.catalogues import Translator
from followup.language.dates import hour_words, long_date
from followup.recall.messages.wording import CHANGED, EYES, STOP, TEXTS, MessageKind, Reader
from followup.records.views import Clinic


def message_text(
    kind: MessageKind,
    reader: Reader,
    clinic: Clinic,
    day: date,
    words: Translator,
    lines: tuple[str, ...] = (),
    *,
    hour: str | None = None,
    spoken: bool = False,
) -> str:
    """The whole text; ``lines`` stand between the message and how to stop them.

    ``hour``: that of the visit on ``day``, where it has one. ``spoken``: a person reads it out, and there
    are no messages to stop.
    """
    when = long_date(day, words.language)
    if hour is not None:
        when = words.gettext("%(day)s, at %(time)s") % {"day": when, "time": hour_words(hour, words)}
    values = {"clinic": clinic.name, "phone": clinic.phone_day, "day": when}
    said = [words.gettext(TEXTS[kind, reader]) % values, *lines]
    return "\n".join(said if spoken else [*said, words.gettext(STOP) % values])


def step_changes(
    courses: Iterable[Course], day: date, formulary: Mapping[str, Medicine], words: Translator
) -> tuple[str, ...]:
    """What is different on ``day`` from the day before, one line a course; () where nothing is.

    The first day of a course is the discharge's to explain and needs no message.
    """
    return tuple(
        _line(course, course.count_on(day), formulary, words) for course in courses if changes_on(course, day)
    )


def changes_on(course: Course, day: date) -> bool:
    """Whether an everyday course has another count on ``day`` than on the day before."""
    if course.state != "active" or course.as_needed or course.from_before:
        return False
    before = course.count_on(day - timedelta(days=1))
    return before > 0 and course.count_on(day) != before


def _line(course: Course, count: int, formulary: Mapping[str, Medicine], words: Translator) -> str:
    values = {"eye": words.gettext(EYES[course.eye]), "medicine": label_of(course.medicine, formulary)}
    if not count:
        return words.gettext("%(eye)s, %(medicine)s: do not use it any more.") % values
    times = words.ngettext("%(count)s time a day", "%(count)s times a day", count) % {"count": count}
    return words.gettext(CHANGED) % {**values, "times": times}
