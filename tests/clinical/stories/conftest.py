"""A patient followed day by day: looks, missed visits, signatures, and the plan of any day between."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan, Trip
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record, parse_findings, parse_record
from followup.clinical.record.history import TripRecord
from followup.clinical.review.proposal import Outcome
from followup.clinical.review.review import accept, review, with_findings
from followup.recall.reach.lateness import Lateness, VisitDays, lateness

ZONE = ZoneInfo("Africa/Nairobi")


class Story:
    """One patient's record, growing by what happens. Days count from the operation of ``eye``."""

    def __init__(self, record: Record, protocol: Protocol) -> None:
        self.record = record
        self.protocol = protocol
        self.edits: tuple[Adjustment, ...] = ()
        self.day0 = record.last_operation_day
        self.eye = max(record.operations, key=lambda o: o.date).eye
        self.last: Outcome | None = None

    def date(self, day: int) -> date:
        return self.day0 + timedelta(days=day)

    def day(self, when: date) -> int:
        return (when - self.day0).days

    def plan(self, day: int) -> CarePlan:
        """The plan made on that day from what the record says by then."""
        return build_plan(self.record, self.protocol, as_of=self.date(day), edits=self.edits)

    def look(self, day: int, **found: Any) -> Outcome:
        """The patient came and was looked at."""
        findings = parse_findings({"eye": self.eye, "date": self.date(day).isoformat(), **found})
        self.last = review(self.record, self.protocol, findings, edits=self.edits)
        self.record = with_findings(self.record, findings)
        return self.last

    def sign(self, *ids: str, offer: tuple[str, int] | None = None) -> None:
        """The surgeon signs proposals of the last look."""
        assert self.last is not None
        chosen = [p for p in self.last.proposals if p.id in ids]
        assert [p.id for p in chosen] == list(ids)
        self.edits += accept(chosen, by="Dr Sen", reason="As seen.", offer=offer)

    def missed(self, day: int) -> None:
        """The patient did not come to a booked visit, and reception said so."""
        visit = TripRecord(date=self.date(day), status="noshow")
        self.record = self.record.model_copy(update={"trips": (*self.record.trips, visit)})

    def choose(self, **choices: Any) -> None:
        """The surgeon answers what the protocol asks him to pick."""
        told = self.record.model_dump(mode="json", exclude_unset=True)
        told["operations"][-1].setdefault("choices", {}).update(choices)
        self.record = parse_record(told)

    def visits(self, day: int) -> list[int]:
        """The coming visits of the plan of that day."""
        return [self.day(t.date) for t in self.plan(day).trips if t.status in ("proposed", "booked")]

    def drops(self, plan: CarePlan, day: int, role: str = "steroid") -> int:
        """Drops of that kind due on a day."""
        mine = (c for c in plan.courses if c.eye == self.eye and c.role == role and c.state == "active")
        return sum(c.count_on(self.date(day)) for c in mine)

    def stands(self, trip: Trip, day: int) -> Lateness:
        """How a visit stands at noon of that day."""
        visit = VisitDays(trip.date, trip.window_end, trip.status)
        return lateness(visit, datetime.combine(self.date(day), time(12), ZONE), ZONE)


@pytest.fixture
def story(case: Callable[[str], dict[str, Any]], protocol: Protocol) -> Callable[[str], Story]:
    """``story("wanjiru")``: one of the twelve operations, followed from the day of surgery."""
    return lambda name: Story(parse_record(case(name)), protocol)
