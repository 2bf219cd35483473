"""People, records and plans for the tests of the store; invented throughout."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import pytest

from followup.clinical.careplan import CarePlan, Question, ReviewNeed, Tier, Trip
from followup.clinical.record import Record, parse_record
from followup.records.patients import enter_record
from followup.records.plans import sign_plan, store_draft
from followup.records.protocols import sign_protocol
from followup.records.store import Store
from followup.records.views import Actor, PlanVersion

NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)
DAY0 = date(2027, 3, 1)
HASH = "ab" * 32
SURGEON = Actor("sen", frozenset({"surgeon"}), "Dr Sen", "R-1001")
OTHER_SURGEON = Actor("rao", frozenset({"surgeon"}), "Dr Rao", "R-1002")
COUNSELLOR = Actor("mira", frozenset({"counsellor"}), "Mira")
RECEPTION = Actor("omar", frozenset({"reception"}), "Omar")


def record(code: str = "K-1", name: str = "Wanjiru Ndegwa", eye: str = "right", **patient: object) -> Record:
    """A routine operation on DAY0."""
    who = {"code": code, "name": name, "birth_year": 1955, "language": "en", **patient}
    operation = {
        "eye": eye,
        "eye_drawn": eye,
        "date": DAY0.isoformat(),
        "procedure": "phacoemulsification",
    }
    return parse_record({"patient": who, "operations": [operation]})


def day(number: int) -> date:
    """The day ``number`` days after DAY0."""
    return DAY0 + timedelta(days=number)


def need(key: str, latest: int, *, tier: Tier = "C", after: str | None = None) -> ReviewNeed:
    """A need with a window from the day before the latest day."""
    return ReviewNeed(
        key=f"right:{key}",
        kind=key,
        eye="right",
        service="review",
        tier=tier,
        earliest=day(latest - 1),
        target=day(latest),
        latest=day(latest),
        after=after,
    )


def visit(number: int, on: int, *needs: ReviewNeed, start: int | None = None, tier: Tier = "C") -> Trip:
    """A proposed visit ``on`` days after the operation."""
    end = min(n.latest for n in needs)
    return Trip(
        number=number,
        date=day(on),
        serves=tuple(n.key for n in needs),
        services=tuple(sorted({n.service for n in needs})),
        window_start=day(start) if start is not None else min(day(on), end),
        window_end=end,
        tier=tier,
    )


FIRST, WEEK, REFRACTION = need("first-look", 1), need("week", 9), need("refraction", 56)


def plan_body(
    code: str = "K-1",
    *,
    trips: Iterable[Trip] | None = None,
    needs: Iterable[ReviewNeed] = (FIRST, WEEK, REFRACTION),
    questions: tuple[Question, ...] = (),
    status: str = "draft",
) -> CarePlan:
    """A plan with three visits, unless other ``trips`` are given."""
    usual = (
        visit(1, 1, FIRST),
        visit(2, 7, WEEK, start=5),
        visit(3, 42, REFRACTION, start=29),
    )
    return CarePlan.model_validate(
        {
            "patient": code,
            "as_of": DAY0,
            "status": status,
            "protocol": "sample",
            "protocol_hash": HASH,
            "approved": False,
            "engine": "1",
            "needs": tuple(needs),
            "trips": tuple(usual if trips is None else trips),
            "questions": questions,
        }
    )


@dataclass
class Ward:
    """A store with a signed protocol, and short ways to what most tests start from."""

    store: Store

    def enter(self, one: Record | None = None, *, now: datetime = NOW) -> int:
        with self.store.write(COUNSELLOR, now) as unit:
            return enter_record(unit, record=one or record()).patient_id

    def draft(self, patient_id: int, body: CarePlan | None = None, *, number: int = 1) -> PlanVersion:
        with self.store.write(COUNSELLOR, NOW) as unit:
            return store_draft(unit, patient_id=patient_id, record_number=number, body=body or plan_body())

    def sign(self, plan_id: int, *, by: Actor = SURGEON, now: datetime = NOW) -> PlanVersion:
        with self.store.write(by, now) as unit:
            return sign_plan(unit, plan_id=plan_id)

    def signed(self, code: str = "K-1", body: CarePlan | None = None) -> PlanVersion:
        """A new patient with a signed plan."""
        patient_id = self.enter(record(code))
        return self.sign(self.draft(patient_id, body or plan_body(code)).id)


def _approve(store: Store) -> Ward:
    with store.write(SURGEON, NOW) as unit:
        sign_protocol(unit, hash=HASH, name="sample", version="1")
    return Ward(store)


@pytest.fixture
def ward(store: Store) -> Ward:
    """On each of both databases."""
    return _approve(store)


@pytest.fixture
def sqlite_ward(sqlite_store: Store) -> Ward:
    """On SQLite alone."""
    return _approve(sqlite_store)
