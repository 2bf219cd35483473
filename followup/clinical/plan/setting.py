"""What a plan is made from: the record, the protocol, the eyes still followed, the patient's waking day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from followup.clinical.careplan import Course, Question, Reason
from followup.clinical.english import day_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.courses import draft_courses, last_steroid_day
from followup.clinical.plan.needs import open_needs
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.said import say
from followup.timing.calendar import Calendar
from followup.timing.waking import WakingHours


@dataclass(frozen=True)
class Setting:
    """What every step of the path needs to know, and what came up on the way to it."""

    record: Record
    protocol: Protocol
    as_of: date
    calendar: Calendar
    eyes: tuple[EyeRules, ...]
    waking: WakingHours
    questions: tuple[Question, ...]
    notices: tuple[str, ...]

    @property
    def start(self) -> date:
        """The first drop day after the latest operation, or the as-of day where that is later."""
        newest = max(self.eyes, key=lambda eye: eye.day0)
        return max(newest.first_drop_day, self.as_of) if self.as_of > newest.day0 else newest.first_drop_day

    def first_round_day(self, courses: Sequence[Course]) -> date:
        """The first date of the day plan: a tablet from the day of surgery on comes before the drops."""
        newest = max(eye.day0 for eye in self.eyes)
        if self.as_of > newest:
            return self.start
        days = [c.first_day for c in courses if c.first_day and not c.from_before and c.state == "active"]
        return min([self.start, *(day for day in days if day >= newest)])


def setting_of(
    record: Record,
    protocol: Protocol,
    as_of: date,
    eyes: Sequence[EyeRules],
    calendar: Calendar | None = None,
) -> Setting:
    """The setting of a plan for these operated eyes; an eye whose follow-up is over is left out and told."""
    waking, questions = _waking(record)
    kept, told = _still_followed(eyes, protocol, waking.hours)
    return Setting(record, protocol, as_of, calendar or Calendar(), kept, waking, questions, told)


def _still_followed(
    eyes: Sequence[EyeRules], protocol: Protocol, hours: int
) -> tuple[tuple[EyeRules, ...], tuple[str, ...]]:
    """Leave out an eye whose courses and windows had all ended before the other eye's operation."""
    newest = max(eye.day0 for eye in eyes)
    kept, told = [], []
    for eye in eyes:
        if eye.day0 < newest and _over_by(eye, protocol, hours) < newest:
            told.append(
                say(
                    "The follow-up of the {eye} eye, operated on {day}, is over.",
                    eye=eye.eye,
                    day=day_words(eye.day0),
                )
            )
        else:
            kept.append(eye)
    return tuple(kept), tuple(told)


def _over_by(eye: EyeRules, protocol: Protocol, hours: int) -> date:
    courses = draft_courses(eye, protocol, hours).courses
    steroid = [c for c in courses if c.role == "steroid"]
    days = sum(step.days for c in steroid for step in c.steps)
    opened, _ = open_needs(eye, protocol, last_steroid_day(steroid), days)
    ends = [c.last_day for c in courses if c.last_day] + [o.need.latest for o in opened]
    return max([eye.day0, *ends])


def _waking(record: Record) -> tuple[WakingHours, tuple[Question, ...]]:
    """The patient's waking day; one that can't be (12 to 18 hours) is asked for, and drafted as usual."""
    told = record.patient.waking
    try:
        return WakingHours.of(told.rise, told.bedtime), ()
    except FollowupError as exc:
        reason = Reason(
            rule="waking-day",
            because=say("The rounds of a day fit into 12 to 18 hours awake."),
            source="common practice, no source",
            mark="C",
        )
        question = Question(
            id="waking-day",
            text=say(
                "When does the patient rise and go to bed? {capital}{rest}.",
                capital=exc.what[:1].upper(),
                rest=exc.what[1:],
            ),
            eye=None,
            fields=("patient.waking.rise", "patient.waking.bedtime"),
            reasons=(reason,),
        )
        return WakingHours.of("06:00", "22:00"), (question,)
