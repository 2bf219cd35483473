"""What a list says of plans: made of each version once, so that no line of a list reads a whole plan."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from typing import Any

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import ColumnElement, exists
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import BeforeLeaving, CarePlan, Course, ReviewNeed, Tier, read_stored
from followup.clinical.day_plan import Bottle
from followup.clinical.record import Eye
from followup.clinical.statuses import TO_COME
from followup.clinical.words.why_reasons import because_of
from followup.records.store.kept import Kept
from followup.records.tables import CarePlanRow, PatientRow, SheetRow
from followup.said import SENTENCES

# Some 20 kB each: the plans that a clinic of 4,000 patients under treatment has in force.
_MOST = 4096
# SQLite takes no more values in one statement than some 32,000; PostgreSQL twice as many.
_AT_ONCE = 10_000
_EDITS = TypeAdapter(tuple[Adjustment, ...])
_Key = tuple[int, str, datetime]
_LISTED = ("id", "patient_id", "status", "as_of", "drafted_at", "signed_at")


@dataclass(frozen=True, slots=True)
class ListedNeed:
    """A check of a plan as a list names it. ``because``: why it is needed, in sentences."""

    key: str
    kind: str
    eye: Eye | None
    tier: Tier
    latest: date
    served: bool
    served_on: date | None
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlanGist:
    """A plan as lists need it. ``questions``: how many wait for the surgeon; ``courses`` without reasons.

    ``watched``: kind of look and eye of a visit that serves no need of its own; ``to_come``: day and
    services of each visit that it plans.
    """

    needs: tuple[ListedNeed, ...]
    watched: tuple[tuple[str, Eye], ...]
    courses: tuple[Course, ...]
    supply: tuple[Bottle, ...]
    before_leaving: tuple[BeforeLeaving, ...]
    to_come: tuple[tuple[date, tuple[str, ...]], ...]
    tiers: frozenset[Tier]
    questions: int
    signable: bool

    def needs_of(self, keys: Collection[str]) -> tuple[ListedNeed, ...]:
        """The checks with these keys, in the plan's order."""
        return tuple(need for need in self.needs if need.key in keys)

    def course(self, key: str) -> Course:
        return next(course for course in self.courses if course.key == key)


@dataclass(frozen=True, slots=True)
class ListedPlan:
    """A version of a plan as a list names it."""

    id: int
    patient_id: int
    status: str
    as_of: date
    drafted_at: datetime
    signed_at: datetime | None
    gist: PlanGist


_gists: Kept[_Key, PlanGist] = Kept(_MOST)


def plan_gists(session: Session, plans: Iterable[int]) -> dict[int, PlanGist]:
    """The gist of several versions at once; one that can't be read is left out."""
    keys: list[_Key] = []
    for some in _batches(plans):
        keys += _keys(session, col(CarePlanRow.id).in_(some))
    return {key[0]: gist for key, gist in _of(session, keys).items()}


def newest_plans(session: Session, patients: Iterable[int]) -> dict[int, ListedPlan]:
    """By patient the plan in force, or the draft where none is; one that can't be read is left out."""
    found = _listed(
        session,
        col(CarePlanRow.patient_id).in_(set(patients)),
        col(CarePlanRow.status).in_(("active", "draft", "on-hold")),
        readable_alone=True,
    )
    ordered = sorted(found, key=lambda plan: (plan.status == "active", plan.id))
    return {plan.patient_id: plan for plan in ordered}


def listed_plan(session: Session, plan_id: int) -> ListedPlan:
    """One version. A ValueError where it can't be read."""
    return _listed(session, col(CarePlanRow.id) == plan_id)[0]


def plans_by_hand(session: Session, patient: int | None = None) -> tuple[ListedPlan, ...]:
    """Plans that the protocol refuses and someone must make by hand; of one ``patient`` or of all."""
    return _listed(session, col(CarePlanRow.status) == "on-hold", *_of_patient(patient))


def drafts_waiting(session: Session, patient: int | None = None) -> tuple[ListedPlan, ...]:
    """Drafts that wait for a signature, longest waiting first; of one ``patient`` or of all."""
    return _listed(session, col(CarePlanRow.status) == "draft", *_of_patient(patient))


def plans_not_handed_over(session: Session, patient: int | None = None) -> tuple[ListedPlan, ...]:
    """Plans in force of which no sheet is in the patient's hands yet; of one ``patient`` or of all."""
    return _listed(session, *_in_force(), ~is_handed_over(), *_of_patient(patient))


def plans_handed_over(session: Session) -> tuple[ListedPlan, ...]:
    """Plans in force of which a sheet is in the patient's hands, by id; none that can't be read."""
    found = _listed(session, *_in_force(), is_handed_over(), readable_alone=True)
    return tuple(sorted(found, key=lambda plan: plan.id))


def is_handed_over() -> ColumnElement[bool]:
    """That a sheet of the plan is in the patient's hands."""
    return exists().where(
        col(SheetRow.care_plan_id) == CarePlanRow.id, col(SheetRow.handed_over_at).is_not(None)
    )


def _in_force() -> tuple[ColumnElement[bool], ...]:
    return (col(CarePlanRow.status) == "active",)


def _of_patient(patient: int | None) -> tuple[ColumnElement[bool], ...]:
    return () if patient is None else (col(CarePlanRow.patient_id) == patient,)


def _listed(
    session: Session, *conditions: ColumnElement[bool], readable_alone: bool = False
) -> tuple[ListedPlan, ...]:
    columns = [col(getattr(CarePlanRow, name)) for name in _LISTED]
    rows = session.execute(
        sql_select(*columns)
        .join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
        .where(*conditions)
        .order_by(col(CarePlanRow.drafted_at), col(CarePlanRow.id))
    ).all()
    gists = _of(session, [(row.id, row.status, row.drafted_at) for row in rows])
    if len(gists) < len(rows) and not readable_alone:
        raise ValueError("a stored plan can't be read")
    return tuple(
        ListedPlan(**row._mapping, gist=gists[row.id, row.status, row.drafted_at])
        for row in rows
        if (row.id, row.status, row.drafted_at) in gists
    )


def _keys(session: Session, *conditions: ColumnElement[bool]) -> list[_Key]:
    rows: Any = session.exec(
        select(col(CarePlanRow.id), col(CarePlanRow.status), col(CarePlanRow.drafted_at)).where(*conditions)
    )
    return [(plan, status, drafted) for plan, status, drafted in rows]


def _of(session: Session, keys: Iterable[_Key]) -> dict[_Key, PlanGist]:
    def make(missing: Collection[_Key]) -> Mapping[_Key, PlanGist]:
        by_id = {key[0]: key for key in missing}
        made: dict[_Key, PlanGist] = {}
        for some in _batches(by_id):
            rows = session.exec(
                select(CarePlanRow.id, CarePlanRow.body, CarePlanRow.edits).where(
                    col(CarePlanRow.id).in_(some)
                )
            )
            for plan, body, edits in rows:
                # The list of whom to reach must stand even where a plan does not load: its visit is there.
                with suppress(ValidationError):
                    _EDITS.validate_json(edits, context=SENTENCES)
                    made[by_id[plan or 0]] = _gist(read_stored(body))
        return made

    return _gists.of(session, keys, make)


def _gist(plan: CarePlan) -> PlanGist:
    return PlanGist(
        needs=tuple(_need(need) for need in plan.needs),
        watched=plan.watched,
        courses=tuple(course.model_copy(update={"reasons": ()}) for course in plan.courses),
        supply=plan.supply,
        before_leaving=plan.before_leaving,
        to_come=tuple((trip.date, trip.services) for trip in plan.trips if trip.status in TO_COME),
        tiers=frozenset(plan.tiers.values()),
        questions=sum(question.blocks for question in plan.questions),
        signable=plan.signable,
    )


def _need(need: ReviewNeed) -> ListedNeed:
    return ListedNeed(
        key=need.key,
        kind=need.kind,
        eye=need.eye,
        tier=need.tier,
        latest=need.latest,
        served=need.state == "served",
        served_on=need.served_on,
        because=tuple(because_of(reason) for reason in need.reasons),
    )


def _batches(plans: Iterable[int]) -> Iterator[list[int]]:
    """The ids, each once, as many together as one statement takes."""
    left = iter(dict.fromkeys(plans))
    while some := list(islice(left, _AT_ONCE)):
        yield some
