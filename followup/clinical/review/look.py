"""One look at one eye, with everything that the rules for reviews ask about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import get_args

from followup.clinical.adjustments import CourseAdded, CourseEdit, NeedAdded
from followup.clinical.careplan import CarePlan, Course, Reason, Step
from followup.clinical.facts.derive import truth
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.contraindications import CautionFinding, check_medicine
from followup.clinical.plan.taper import counts_each_day, joined_steps
from followup.clinical.protocol.formulary import Medicine, Potency
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import GRADES, ReviewRow, StepPair, Window
from followup.clinical.record import Findings, Record
from followup.clinical.record.base import MedicineRole
from followup.clinical.review.day_counts import counts_from, never_less, pairs
from followup.errors import FollowupError
from followup.timing.waking import WakingHours

NOT_SIGNED = "(not signed)"
"""Who changed it, in a proposal: the signature puts the surgeon's name here."""

POTENCIES = get_args(Potency)


@dataclass(frozen=True)
class Look:
    """The findings, the eye's facts, and the plan in force on that day."""

    record: Record
    protocol: Protocol
    findings: Findings
    rules: EyeRules
    plan: CarePlan
    in_force: tuple[Course, ...] | None = None
    """The courses that were given when the patient came, before this look was written down; ``plan`` is
    made with it, so that what it holds (a defect, a leak) may hold courses there."""

    @property
    def day(self) -> int:
        """Days since surgery."""
        return (self.findings.date - self.rules.day0).days

    @property
    def tomorrow(self) -> date:
        """New counts run from the day after the look."""
        return self.findings.date + timedelta(days=1)

    def fact(self, name: str) -> bool:
        return truth(name, self.rules.facts) is True

    @property
    def uveitic(self) -> bool:
        return self.fact("uveitic")

    @property
    def cells(self) -> int | None:
        """The grade as its place in the SUN order; None where the cells were not seen."""
        return _grade(self.findings.cells)

    @cached_property
    def earlier(self) -> tuple[Findings, ...]:
        """This eye's looks since its operation and before this one, oldest first."""
        return tuple(r for r in self.rules.context.reviews if r.date < self.findings.date)

    @cached_property
    def grades_before(self) -> tuple[int, ...]:
        """The grades of the looks on earlier days at which cells were seen."""
        return tuple(grade for r in self.earlier if (grade := _grade(r.cells)) is not None)

    @property
    def cells_before(self) -> int | None:
        """The grade of the look before this one, which may have been on the same day."""
        today = [g for r in self._earlier_today() if (g := _grade(r.cells)) is not None]
        return next(reversed((*self.grades_before, *today)), None)

    def _earlier_today(self) -> list[Findings]:
        now = self.findings.time
        mine = (r for r in self.rules.context.reviews if r.date == self.findings.date)
        return [r for r in mine if r.time is not None and now is not None and r.time < now]

    @property
    def quiet_before(self) -> bool:
        """Whether the last look on an earlier day at which cells were seen saw none."""
        return self.grades_before[-1:] == (0,)

    @property
    def pressure(self) -> float | None:
        return self.findings.pressure if isinstance(self.findings.pressure, float) else None

    @cached_property
    def hourly(self) -> int:
        """The most drops a day for this patient: one an hour awake, never over the protocol's most."""
        told = self.record.patient.waking
        try:
            return self.protocol.hourly.drops(WakingHours.of(told.rise, told.bedtime).hours)
        except FollowupError:
            return self.protocol.hourly.most_a_day

    @cached_property
    def steroid(self) -> tuple[Course, ...]:
        """This eye's steroid drops that are not stopped, of this plan and from before."""
        return self.courses("steroid")

    def courses(self, role: MedicineRole) -> tuple[Course, ...]:
        """This eye's courses of ``role`` that are not stopped."""
        mine = (c for c in self.plan.courses if c.eye == self.findings.eye and c.role == role)
        return tuple(c for c in mine if c.state != "stopped")

    @cached_property
    def own(self) -> tuple[Course, ...]:
        """The steroid courses of this plan: a drop from before is not the protocol's to change."""
        return tuple(c for c in self.steroid if not c.from_before)

    @property
    def present_count(self) -> int:
        """The drops of steroid due on the day of the look under the plan in force, whatever this look
        holds; a course that was held before gives none."""
        return sum(c.count_on(self.findings.date) for c in self.steroid_in_force if c.state == "active")

    @property
    def steroid_in_force(self) -> tuple[Course, ...]:
        """This eye's steroid drops as the patient was told to take them before this look."""
        return self._told("steroid")

    def given(self, role: MedicineRole) -> bool:
        """Whether the patient was told to give this eye a drop of ``role`` on the day of the look."""
        return any(c.state == "active" and c.count_on(self.findings.date) for c in self._told(role))

    def _told(self, role: MedicineRole) -> tuple[Course, ...]:
        courses = self.plan.courses if self.in_force is None else self.in_force
        mine = (c for c in courses if c.eye == self.findings.eye and c.role == role)
        return tuple(c for c in mine if c.state != "stopped")

    @property
    def untaken(self) -> bool:
        """Whether the drops were stopped, ran out or were lost."""
        return self.findings.drops_taken in ("stopped", "run out", "lost")

    @property
    def taken_count(self) -> int:
        """The drops of steroid that the cells are read against: none where none were taken."""
        return 0 if self.untaken else self.present_count

    @property
    def last_steroid_day(self) -> date | None:
        return max((c.last_day for c in self.steroid if c.last_day), default=None)

    @property
    def steroid_over(self) -> bool:
        last = self.last_steroid_day
        return last is not None and self.findings.date > last

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The plan's steroid as steps, all its courses together."""
        return joined_steps(self.own)

    @property
    def own_count(self) -> int:
        """The plan's own steroid drops on the day of the look."""
        return sum(c.count_on(self.findings.date) for c in self.own)

    @property
    def remaining(self) -> tuple[int, ...]:
        """The plan's counts of steroid from tomorrow to the end."""
        return counts_from(self.steps, self.tomorrow)

    @property
    def steps_ahead(self) -> tuple[StepPair, ...]:
        """The plan's steps from the present one on, each with its whole length."""
        return tuple((s.count, s.days) for s in self.steps if s.end >= self.findings.date)

    @property
    def later_steps(self) -> tuple[StepPair, ...]:
        """The steps after the present one, each with its whole length."""
        return tuple((s.count, s.days) for s in self.steps if s.start > self.findings.date)

    @property
    def step_before(self) -> int | None:
        """The count of the step before the present one."""
        gone = [s.count for s in self.steps if s.end < self.findings.date]
        return gone[-1] if gone else None

    @property
    def running(self) -> Course | None:
        """The plan's own steroid that the eye gets now, else the last it got."""
        today = self.findings.date
        return max(self.own, key=lambda c: (c.count_on(today), c.last_day or date.min), default=None)

    @property
    def strongest(self) -> Course | None:
        """The plan's own steroid of the highest potency; of equals the one that runs."""
        running = self.running
        return max(self.own, key=lambda c: (self.potency(c.medicine), c is running), default=None)

    def potency(self, medicine: str) -> int:
        potency = self.protocol.formulary[medicine].potency
        return POTENCIES.index(potency) if potency else 0

    def usual(self, role: MedicineRole) -> Medicine:
        """The surgeon's own product of this role, else the protocol's usual one."""
        for product in self.rules.context.operation.products:
            if product.role == role:
                return self.protocol.formulary[product.medicine]
        return self.protocol.usual_medicine(role)

    def reason(self, source: ReviewRow) -> Reason:
        return Reason(rule=source.id, because=source.because, source=source.source, mark=source.mark)

    def raised(self, steps: Sequence[StepPair], why: str) -> tuple[CourseEdit | CourseAdded, ...]:
        """The steroid from tomorrow on at least as ``steps``: the strongest one goes on, others end."""
        return self._steroid(self.strongest, never_less(self.capped(steps), self.remaining), why)

    def kept(self, steps: Sequence[StepPair], why: str) -> tuple[CourseEdit | CourseAdded, ...]:
        """As :meth:`raised`, but with the steroid that the eye gets now."""
        return self._steroid(self.running, never_less(self.capped(steps), self.remaining), why)

    def restarted(self, why: str) -> tuple[CourseEdit | CourseAdded, ...]:
        """From today on what was ordered: the present step anew and whole, then the later ones."""
        today = self.findings.date
        planned = counts_from(self.steps, today)
        return self._steroid(self.running, never_less(self.steps_ahead, planned), why, starts=today)

    def lowered(self, steps: Sequence[StepPair], why: str) -> tuple[CourseEdit | CourseAdded, ...]:
        """From tomorrow on the steroid that the eye gets now runs as ``steps``, and no other."""
        return self._steroid(self.running, tuple(steps), why)

    def capped(self, steps: Sequence[StepPair]) -> tuple[StepPair, ...]:
        """``steps`` with no more drops a day than hours awake."""
        return tuple((min(count, self.hourly), days) for count, days in steps)

    def _steroid(
        self, course: Course | None, steps: tuple[StepPair, ...], why: str, starts: date | None = None
    ) -> tuple[CourseEdit | CourseAdded, ...]:
        starts = starts or self.tomorrow
        if course is None:
            return (self.added(self.fitting("steroid").id, steps, why, starts),) if steps else ()
        other = self.instead_of(self.protocol.formulary[course.medicine])
        if other is not None and self.refused_now(course):
            return self._replaced(other, steps, why, starts)
        if steps == pairs(counts_from(self.steps, starts)):
            return ()
        weaker = self._after(course)
        later = 0
        if weaker is not None:
            counts = counts_each_day(steps)
            least = min(step.count for step in course.steps)
            later = next((i for i, count in enumerate(counts) if count < least), len(counts))
            steps, after = pairs(counts[:later]), pairs([0] * later + counts[later:])
        edits = [self.edit(course.key, steps, why, starts)]
        edits += [self.edit(weaker.key, after, why, starts)] if weaker is not None else []
        ended = (c for c in self.own if c not in (course, weaker))
        return (*edits, *(self.edit(c.key, (), why, starts) for c in ended if self.still_due(c)))

    def _replaced(
        self, other: Medicine, steps: tuple[StepPair, ...], why: str, starts: date
    ) -> tuple[CourseEdit | CourseAdded, ...]:
        """``steps`` with another steroid, today's drops too: this look speaks against the present one."""
        today = self.findings.date
        counts = [self.own_count] * (starts - today).days + counts_each_day(steps)
        due = (c for c in self.own if c.last_day is not None and c.last_day >= today)
        ended = tuple(self.edit(c.key, (), why, today) for c in due)
        if not any(counts):
            return ended
        return (*ended, self.added(other.id, pairs(counts), why, today))

    def refused_now(self, course: Course) -> bool:
        """Whether this very look speaks against a course that was given until now."""
        before = {c.key: c.state for c in self.in_force or ()}
        runs = course.last_day is not None and course.last_day >= self.findings.date
        return runs and course.state == "held" and before.get(course.key) == "active"

    def fitting(self, role: MedicineRole) -> Medicine:
        """The usual medicine of this role, or where something speaks against it one of equal strength."""
        usual = self.usual(role)
        return usual if not self.against(usual) else self.instead_of(usual) or usual

    def instead_of(self, medicine: Medicine) -> Medicine | None:
        """A drop of the same role that nothing speaks against, of the same potency or the next above it.

        In an eye that rises on steroid none above the protocol's limit; None where there is none.
        """
        drops = ("solution", "suspension", "emulsion")
        least = self.potency(medicine.id)
        limit = self.protocol.review.settings.responder_potency
        most = POTENCIES.index(limit) if self.fact("responder") else len(POTENCIES) - 1
        fits = [
            other
            for other in self.protocol.formulary.values()
            if (other.role, other.route) == (medicine.role, "eye")
            and other.form in drops
            and least <= self.potency(other.id) <= max(least, most)
            and not self.against(other)
        ]
        return min(fits, key=lambda other: self.potency(other.id), default=None)

    def against(self, medicine: Medicine, *, stops_only: bool = False) -> tuple[str, ...]:
        """What forbids a new medicine for this eye, or (not ``stops_only``) holds it until answered."""
        found = self.check(medicine)
        held = () if stops_only else [f for f in found if f.holds and not f.answered]
        return tuple(f.text for f in found if f.level == "stop" or f in held)

    def check(self, medicine: Medicine, days: int = 1, count: int = 1) -> Sequence[CautionFinding]:
        """What speaks against a new medicine for this eye, given so long and so often."""
        return check_medicine(
            self.record,
            medicine,
            None if medicine.route == "mouth" else self.findings.eye,
            new=True,
            days=days,
            max_count=count,
            cautions=self.protocol.cautions,
            as_of=self.findings.date,
        )

    def _after(self, course: Course) -> Course | None:
        """The weaker steroid that the plan gives for the lower steps of ``course``."""
        lower = (c for c in self.own if self.potency(c.medicine) < self.potency(course.medicine))
        return next((c for c in lower if self.still_due(c) and course.steps), None)

    def still_due(self, course: Course) -> bool:
        return course.last_day is not None and course.last_day >= self.tomorrow

    def edit(
        self, course: str, steps: tuple[StepPair, ...], why: str, starts: date | None = None
    ) -> CourseEdit:
        return CourseEdit(
            course=course, starts=starts or self.tomorrow, steps=steps, reason=why, by=NOT_SIGNED
        )

    def added(
        self, medicine: str, steps: tuple[StepPair, ...], why: str, starts: date | None = None
    ) -> CourseAdded:
        by_mouth = self.protocol.formulary[medicine].route == "mouth"
        return CourseAdded(
            eye=None if by_mouth else self.findings.eye,
            medicine=medicine,
            starts=starts or self.tomorrow,
            steps=steps,
            reason=why,
            by=NOT_SIGNED,
        )

    def seen_again(self, need: str, window: Window, why: str) -> Iterator[NeedAdded]:
        """A look that many days from this one, unless the plan has one of its kind in that time.

        A window from 0 begins today only for a later hour, so it is planned for the next day.
        """
        start, target, end = (self.findings.date + timedelta(days=max(days, 1)) for days in window)
        for planned in self.plan.needs:
            same = planned.eye == self.findings.eye and planned.kind == need and planned.state == "open"
            if same and start <= planned.earliest and planned.latest <= end:
                return
        yield NeedAdded(
            eye=self.findings.eye,
            need=need,
            earliest=start,
            target=target,
            latest=end,
            reason=why,
            by=NOT_SIGNED,
        )


def _grade(cells: str | None) -> int | None:
    return GRADES.index(cells) if cells in GRADES else None
