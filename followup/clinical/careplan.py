"""The care plan: everything that follows from one record, each line with its reasons.

Types only; :mod:`followup.clinical.plan.build` builds it. Texts here are sentences for the staff
(see ``followup.said``); what the patient reads is made from ids (medicine, need kind) in ``language``.
"""

from __future__ import annotations

from datetime import date, time
from typing import Literal

from pydantic import Field

from followup.clinical.day_plan import Bottle, DayPhase, halves
from followup.clinical.plan_part import PlanPart
from followup.clinical.record.base import Eye, MedicineRole
from followup.clinical.statuses import TO_COME, CourseState, PlanStatus, TripStatus
from followup.said import SENTENCES, SaidText

Day = date

Tier = Literal["A", "B", "C"]


class FactUse(PlanPart):
    """A fact as a rule used it.

    ``holds`` is what is so of this eye, in words for people ("the wound was not watertight at the end");
    empty where it goes without saying, or in a plan of before it was kept. ``value`` is how the fact came
    out ("yes", "no", "not recorded") or the figure it was read from, ``fields`` are those of the record;
    both are for programs and for tracing a reason back.
    """

    fact: str
    value: str
    fields: tuple[str, ...]
    holds: SaidText = ""


class Reason(PlanPart):
    """One rule that fired. ``mark`` is P, S, M or C (see clinical data). ``overrode`` names what lost."""

    rule: str
    because: SaidText
    source: SaidText
    mark: str
    facts: tuple[FactUse, ...] = ()
    overrode: tuple[str, ...] = ()


class Step(PlanPart):
    """A constant count a day, from ``start`` for ``days`` days.

    By mouth ``mg`` is the whole day's amount and ``tablets`` how many are taken each of the ``count`` times.
    """

    start: date
    days: int
    count: int
    mg: float | None = None
    tablets: float | None = None

    @property
    def tablets_figure(self) -> str:
        """``tablets`` in figures: "4", "½", "1½"."""
        return halves(self.tablets or 0)

    @property
    def mg_each(self) -> float:
        """Of ``mg`` a day, what is taken each time."""
        return (self.mg or 0) / self.count

    @property
    def end(self) -> date:
        return date.fromordinal(self.start.toordinal() + self.days - 1)


class Course(PlanPart):
    """One medicine for one eye (or by mouth, eye None). Key: ``left:steroid``, ``mouth:prednisolone``.

    ``goes_on``: nobody has ordered a last day; the last step ends only where the plan stops speaking of it.
    """

    key: str
    role: MedicineRole
    medicine: str
    eye: Eye | None
    state: CourseState = "active"
    steps: tuple[Step, ...] = ()
    taper: str | None = None
    held_by: tuple[str, ...] = ()
    from_before: bool = False
    as_needed: bool = False
    goes_on: bool = False
    ordered_by: str | None = None
    fixed_times: tuple[time, ...] = ()
    above_label: SaidText | None = None
    reasons: tuple[Reason, ...] = ()

    @property
    def first_day(self) -> date | None:
        return self.steps[0].start if self.steps else None

    @property
    def last_day(self) -> date | None:
        return self.steps[-1].end if self.steps else None

    @property
    def drops(self) -> int:
        return sum(step.days * step.count for step in self.steps)

    def step_on(self, day: date) -> Step | None:
        """The step in force on ``day``; None outside the course and in a pause."""
        number = day.toordinal()
        return next((s for s in self.steps if 0 <= number - s.start.toordinal() < s.days), None)

    def count_on(self, day: date) -> int:
        """Drops due on ``day``; 0 outside the course."""
        step = self.step_on(day)
        return step.count if step else 0


class ReviewNeed(PlanPart):
    """One thing that must be looked at. Key: ``left:refraction``. Dates inclusive."""

    key: str
    kind: str
    eye: Eye | None
    service: str
    tier: Tier
    earliest: date
    target: date
    latest: date
    urgent: bool = False
    weight: int = 1
    after: str | None = None
    state: Literal["open", "served", "impossible"] = "open"
    served_on: date | None = None
    reasons: tuple[Reason, ...] = ()

    @property
    def window(self) -> tuple[date, date, date]:
        """Earliest, target and latest day."""
        return self.earliest, self.target, self.latest


class FirstDropDay(PlanPart):
    """F: the day on which the drops of an eye begin, and why.

    ``at``: the hour of the first drops on that day for a patient who is awake until then and rises
    only later; one round more than the courses count.
    """

    eye: Eye
    day: date
    at: str | None = None
    reasons: tuple[Reason, ...] = ()


class CheckGap(PlanPart):
    """At most ``limit`` dates that count lie strictly between two looks that follow each other.

    ``kind`` says which dates count: for pressure those with ``from_count`` drops of steroid or more,
    for the cornea those of NSAID, for a look every date from ``first`` to ``last``. ``look`` is the
    kind of review need that a visit is for that this alone asks for, ``finding`` what a review must
    hold to count as one (None: any look).
    """

    key: str
    eye: Eye
    kind: Literal["pressure", "cornea", "look"]
    limit: int
    from_count: int
    need: str = ""
    finding: str | None = None
    first: date | None = None
    last: date | None = None
    reasons: tuple[Reason, ...] = ()

    @property
    def look(self) -> str:
        return self.need or {"pressure": "pressure", "cornea": "cornea-stain"}[self.kind]


class BeforeLeaving(PlanPart):
    """A check in hours on the day of surgery, before the patient leaves; not a trip."""

    key: str
    kind: str
    eye: Eye
    earliest: str | None
    latest: str | None
    text: SaidText
    reasons: tuple[Reason, ...] = ()


class Trip(PlanPart):
    """One visit. ``serves`` holds need keys; ``window_end`` is the earliest latest day of them.

    ``reasons`` stand on a visit that no need but a gap rule alone asks for. ``decided``: the surgeon set
    its day, so its services are given on it whatever the calendar says. ``place`` and ``hours`` say where
    and when it is, where that is not the clinic as on every other day; ``hour``: where the booking gives
    one."""

    number: int
    date: date
    hour: str | None = None
    status: TripStatus = "proposed"
    serves: tuple[str, ...]
    services: tuple[str, ...]
    window_start: Day
    window_end: Day
    tier: Tier
    cannot_move: bool = False
    overbooked: tuple[str, ...] = ()
    decided: bool = False
    place: str | None = None
    hours: tuple[str, str] | None = None
    reasons: tuple[Reason, ...] = ()


class Question(PlanPart):
    """Only the surgeon can answer. ``holds`` lists course keys; ``blocks`` stops signing.

    ``course`` and ``medicine`` are set where the question is put about one course: the answer is
    about it alone, and about no other medicine.
    """

    id: str
    text: SaidText
    eye: Eye | None
    fields: tuple[str, ...]
    course: str | None = None
    medicine: str | None = None
    choices: tuple[SaidText, ...] = ()
    holds: tuple[str, ...] = ()
    blocks: bool = True
    reasons: tuple[Reason, ...] = ()


class Caution(PlanPart):
    """``level``: stop (blocks), ask, warn or note. ``sheet`` names the patient sentence, if any.

    ``decided_by``: a stop that somebody has decided, by name. It stands on the plan as a stop and is
    signed with it; every other stop must be mended or answered first.
    """

    id: str
    text: SaidText
    eye: Eye | None
    decided_by: str | None = None
    level: Literal["stop", "ask", "warn", "note"]
    sheet: str | None = None
    reasons: tuple[Reason, ...] = ()


class AllergyLine(PlanPart):
    """One allergy as the record has it: an entry of the list, or the ``words`` as they were written.

    ``medicine`` and ``described`` say which, where ``to`` is "medicine" or "other".
    """

    to: str | None = None
    medicine: str | None = None
    described: str | None = None
    reaction: str | None = None
    words: str | None = None


class InWords(PlanPart):
    """Free text of the record as it was typed: told in words, not used for the plan.

    ``field`` is where it stands in the record.
    """

    field: str
    eye: Eye | None
    text: SaidText


class Impossible(PlanPart):
    """A need that no offered date can serve, with the nearest offered day on either side.

    ``kind`` of look and ``eye`` say what it is, ``earliest`` and ``latest`` when it should be. A limit
    between two checks that no day can keep has neither window nor day before.
    """

    need: str
    text: SaidText
    before: date | None
    after: date | None
    kind: str = ""
    eye: Eye | None = None
    earliest: date | None = None
    latest: date | None = None


class Decided(PlanPart):
    """What the surgeon decided of a look that no offered day of its window can see, signed with the plan.

    On ``day`` it is looked at, at ``place`` where that is another clinic; without a day it is not looked
    at in time, and the plan is signed with that gap. ``earliest`` and ``latest``: when it should have been.
    """

    need: str
    kind: str
    eye: Eye | None
    day: date | None
    earliest: date | None
    latest: date | None
    place: str | None
    why: SaidText
    by: str | None


class Overridden(PlanPart):
    """What a rule wanted and lost, and to which rule."""

    rule: str
    wanted: SaidText
    lost_to: str
    reason: Reason


class CarePlan(PlanPart):
    """The whole plan. ``status`` is on-hold where it must be made by hand."""

    patient: str
    as_of: date
    status: PlanStatus
    protocol: str
    protocol_hash: str
    approved: bool
    engine: str
    refused: tuple[Caution, ...] = ()
    allergies: tuple[AllergyLine, ...] = ()
    in_words: tuple[InWords, ...] = ()
    courses: tuple[Course, ...] = ()
    rounds: tuple[DayPhase, ...] = ()
    supply: tuple[Bottle, ...] = ()
    needs: tuple[ReviewNeed, ...] = ()
    before_leaving: tuple[BeforeLeaving, ...] = ()
    first_drop_days: tuple[FirstDropDay, ...] = ()
    gaps: tuple[CheckGap, ...] = ()
    trips: tuple[Trip, ...] = ()
    questions: tuple[Question, ...] = ()
    cautions: tuple[Caution, ...] = ()
    impossible: tuple[Impossible, ...] = ()
    decided: tuple[Decided, ...] = ()
    overridden: tuple[Overridden, ...] = ()
    tiers: dict[str, Tier] = Field({})
    last_steroid_day: dict[str, date] = Field({})
    notices: tuple[SaidText, ...] = ()

    @property
    def watched(self) -> tuple[tuple[str, Eye], ...]:
        """The kind of look and the eye of a visit that serves no need of its own: it keeps the time between
        two checks short."""
        return tuple(dict.fromkeys((gap.look, gap.eye) for gap in self.gaps))

    def to_come(self, day: date) -> list[Trip]:
        """The visits still to come from ``day`` on, soonest first."""
        coming = (trip for trip in self.trips if trip.status in TO_COME and trip.date >= day)
        return sorted(coming, key=lambda trip: trip.date)

    def course(self, key: str) -> Course:
        return next(c for c in self.courses if c.key == key)

    @property
    def stops(self) -> tuple[Caution, ...]:
        """The stop cautions that nobody has decided."""
        return tuple(c for c in self.cautions if c.level == "stop" and c.decided_by is None)

    @property
    def signable(self) -> bool:
        """No open blocking question, no undecided stop, no impossible need, nothing refused."""
        return not (self.refused or self.impossible or any(q.blocks for q in self.questions) or self.stops)


def to_store(plan: CarePlan) -> str:
    """The plan as it is stored: with its sentences whole."""
    return plan.model_dump_json(context=SENTENCES)


def read_stored(text: str) -> CarePlan:
    """A stored plan; one of before, whose sentences are plain text, too."""
    return CarePlan.model_validate_json(text, context=SENTENCES)
