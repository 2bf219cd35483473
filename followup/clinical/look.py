"""One look at one eye, with everything that the rules for reviews ask about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from followup.clinical.careplan import CarePlan, Course, CourseAdded, CourseEdit, NeedAdded, Reason, Step
from followup.clinical.eye_rules import EyeRules
from followup.clinical.facts import truth
from followup.clinical.protocol import Protocol
from followup.clinical.record import Findings, Record
from followup.clinical.review_rules import GRADES, Sourced, StepPair, Window
from followup.clinical.taper import as_steps

NOT_SIGNED = "(not signed)"
"""Who changed it, in a proposal: the signature puts the surgeon's name here."""


@dataclass(frozen=True)
class Look:
    """The findings, the eye's facts, and the plan in force on that day."""

    record: Record
    protocol: Protocol
    findings: Findings
    rules: EyeRules
    plan: CarePlan

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
    def cells_before(self) -> int | None:
        """The grade at the last look before this one at which cells were seen."""
        earlier = [
            r for r in self.record.reviews if r.eye == self.findings.eye and r.date < self.findings.date
        ]
        seen = [
            g
            for r in sorted(earlier, key=lambda r: (r.date, r.time or ""))
            if (g := _grade(r.cells)) is not None
        ]
        return seen[-1] if seen else None

    @property
    def pressure(self) -> float | None:
        return self.findings.pressure if isinstance(self.findings.pressure, float) else None

    @cached_property
    def steroid(self) -> tuple[Course, ...]:
        """This eye's steroid drops that are not stopped, of this plan and from before."""
        return tuple(
            c
            for c in self.plan.courses
            if c.eye == self.findings.eye and c.role == "steroid" and c.state != "stopped"
        )

    @property
    def present_count(self) -> int:
        """The drops of steroid due on the day of the look."""
        return sum(c.count_on(self.findings.date) for c in self.steroid)

    @property
    def last_steroid_day(self) -> date | None:
        return max((c.last_day for c in self.steroid if c.last_day), default=None)

    @property
    def steroid_over(self) -> bool:
        last = self.last_steroid_day
        return last is not None and self.findings.date > last

    @property
    def remaining(self) -> tuple[int, ...]:
        """The planned counts of steroid from tomorrow to the end."""
        last = self.last_steroid_day
        days = (last - self.tomorrow).days + 1 if last else 0
        dates = [self.tomorrow + timedelta(days=i) for i in range(max(days, 0))]
        return tuple(sum(c.count_on(day) for c in self.steroid) for day in dates)

    @property
    def steps_ahead(self) -> tuple[StepPair, ...]:
        """The planned steps from the present one on, each with its whole length."""
        return tuple((s.count, s.days) for s in self._joined if s.end >= self.findings.date)

    @property
    def step_before(self) -> int | None:
        """The count of the step before the present one."""
        gone = [s.count for s in self._joined if s.end < self.findings.date]
        return gone[-1] if gone else None

    @property
    def _joined(self) -> list[Step]:
        return sorted((s for c in self.steroid if not c.from_before for s in c.steps), key=lambda s: s.start)

    def reason(self, source: Sourced) -> Reason:
        return Reason(rule=source.id, because=source.because, source=source.source, mark=source.mark)

    def steroid_edits(self, steps: tuple[StepPair, ...], why: str) -> tuple[CourseEdit | CourseAdded, ...]:
        """From tomorrow on this eye's steroid runs as ``steps``: one course goes on, others end."""
        own = [c for c in self.steroid if not c.from_before]
        if not own:
            medicine = self.protocol.usual_medicine("steroid").id
            return (self.added(medicine, steps, why),)
        edits = [self.edit(own[0].key, steps, why)]
        return (
            *edits,
            *(self.edit(c.key, (), why) for c in own[1:] if c.last_day and c.last_day >= self.tomorrow),
        )

    def edit(self, course: str, steps: tuple[StepPair, ...], why: str) -> CourseEdit:
        return CourseEdit(course=course, starts=self.tomorrow, steps=steps, reason=why, by=NOT_SIGNED)

    def added(self, medicine: str, steps: tuple[StepPair, ...], why: str) -> CourseAdded:
        return CourseAdded(
            eye=self.findings.eye,
            medicine=medicine,
            starts=self.tomorrow,
            steps=steps,
            reason=why,
            by=NOT_SIGNED,
        )

    def seen_again(self, need: str, window: Window, why: str) -> NeedAdded:
        """A look that many days from this one. A window from 0 begins today only for a later hour, so it
        is planned for the next day."""
        start, target, end = (self.findings.date + timedelta(days=max(days, 1)) for days in window)
        return NeedAdded(
            eye=self.findings.eye,
            need=need,
            earliest=start,
            target=target,
            latest=end,
            reason=why,
            by=NOT_SIGNED,
        )

    def never_less(self, steps: tuple[StepPair, ...]) -> tuple[StepPair, ...]:
        """``steps`` from tomorrow on, raised to what was planned anyway where that was more."""
        counts = [count for count, days in steps for _ in range(days)]
        planned = self.remaining
        length = max(len(counts), len(planned))
        both = [max(_at(counts, i), _at(planned, i)) for i in range(length)]
        return tuple((s.count, s.days) for s in as_steps(both, self.tomorrow))


def _at(counts: list[int] | tuple[int, ...], i: int) -> int:
    return counts[i] if i < len(counts) else 0


def _grade(cells: str | None) -> int | None:
    return GRADES.index(cells) if cells in GRADES else None
