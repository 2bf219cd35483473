"""To reach today: whom reception must reach now, in order, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from followup.clinical.careplan import CarePlan, ReviewNeed, Tier
from followup.clinical.record import Eye, Phone
from followup.language.catalogues import N_, Translator
from followup.language.dates import long_date
from followup.recall.lateness import VisitDays, days_overdue, lateness
from followup.records.clinics import clinic_zone
from followup.records.patients import patients_by_id
from followup.records.plans import (
    plan_bodies,
    plans_by_hand,
    plans_in_force,
    plans_not_handed_over,
    plans_waiting_for_signature,
)
from followup.records.trips import trips_past_window
from followup.records.views import PatientView, PlanVersion, TripView

Kind = Literal["overdue", "plan by hand", "plan incomplete", "new version"]
_ORDER: tuple[Kind, ...] = ("overdue", "plan by hand", "plan incomplete", "new version")
_TIERS: tuple[Tier, ...] = ("A", "B", "C")


@dataclass(frozen=True)
class ToReach:
    """One person to reach. ``since`` is the day on which it became true.

    ``needs`` are the checks at stake with what the protocol says of each; ``days`` counts the days
    past the last possible one (0 while that lies ahead). ``blocked``: the plan can't be signed yet.
    """

    kind: Kind
    patient: PatientView
    tier: Tier
    since: date
    days: int
    plan_id: int
    trip_id: int | None = None
    due_by: date | None = None
    missed: bool = False
    questions: int = 0
    blocked: bool = False
    needs: tuple[ReviewNeed, ...] = ()

    @property
    def eyes(self) -> tuple[Eye, ...]:
        """The eyes at stake; both of the record's where no check names one."""
        named = {need.eye for need in self.needs if need.eye}
        return tuple(eye for eye in self.patient.eyes if eye in named) or self.patient.eyes

    @property
    def telephones(self) -> tuple[Phone, ...]:
        return self.patient.telephones

    @property
    def because(self) -> tuple[str, ...]:
        """What the protocol says of the checks at stake, each sentence once."""
        return tuple(dict.fromkeys(reason.because for need in self.needs for reason in need.reasons))


@dataclass(frozen=True)
class Open:
    """What the store knows that may put someone on the list."""

    trips: tuple[TripView, ...]
    by_hand: tuple[PlanVersion, ...]
    drafts: tuple[PlanVersion, ...]
    not_handed_over: tuple[PlanVersion, ...]
    in_force: frozenset[int]
    patients: Mapping[int, PatientView]
    bodies: Mapping[int, CarePlan]


def to_reach(facts: Open, now: datetime, zone: ZoneInfo) -> tuple[ToReach, ...]:
    """The list: overdue first, by tier and then by lateness; then plans that are not complete."""
    today = now.astimezone(zone).date()
    found = [
        *(_overdue(facts, trip, today) for trip in facts.trips if _is_overdue(trip, now, zone)),
        *(_by_hand(facts, plan, today) for plan in facts.by_hand),
        *(_incomplete(facts, plan, today) for plan in facts.drafts if _waits(facts, plan, today, zone)),
        *(_not_handed_over(facts, plan, today, zone) for plan in facts.not_handed_over),
    ]
    return tuple(sorted(found, key=_place))


def load_open(session: Session, now: datetime) -> Open:
    """Everything that may put someone on the list at ``now``."""
    today = now.astimezone(clinic_zone(session)).date()
    trips = trips_past_window(session, today)
    by_hand, drafts = plans_by_hand(session), plans_waiting_for_signature(session)
    not_handed_over = plans_not_handed_over(session)
    plans = (*by_hand, *drafts, *not_handed_over)
    people = {plan.patient_id for plan in plans} | {trip.patient_id for trip in trips}
    return Open(
        trips=trips,
        by_hand=by_hand,
        drafts=drafts,
        not_handed_over=not_handed_over,
        in_force=plans_in_force(session),
        patients=patients_by_id(session, people),
        bodies=plan_bodies(session, {trip.plan_id for trip in trips}),
    )


def worklist(session: Session, now: datetime) -> tuple[ToReach, ...]:
    """Whom to reach at ``now``, from the store."""
    return to_reach(load_open(session, now), now, clinic_zone(session))


def reason(item: ToReach, words: Translator) -> str:
    """Why this person is on the list, in whole sentences of the staff's language."""
    values = {
        "by": long_date(item.due_by, words.language) if item.due_by else "",
        "since": long_date(item.since, words.language),
        "days": item.days,
        "questions": item.questions,
    }
    return " ".join(_sentence(words, *message, item) % values for message in _messages(item))


_MISSED = N_("The patient did not come to the visit.")
_FIRST_LOOK_BY = N_("The first look must be by %(by)s.")


def _messages(item: ToReach) -> list[tuple[str, str | None]]:
    """The sentences, each with its plural form where it counts something."""
    if item.kind == "overdue":
        sentences: list[tuple[str, str | None]] = [
            (
                N_("Overdue for %(days)d day: the last day for this check was %(by)s."),
                N_("Overdue for %(days)d days: the last day for this check was %(by)s."),
            )
        ]
        return [*sentences, (_MISSED, None)] if item.missed else sentences
    if item.kind == "plan by hand":
        sentences = [(N_("The protocol makes no plan for this patient: the surgeon plans by hand."), None)]
        return [*sentences, (_FIRST_LOOK_BY, None)] if item.due_by else sentences
    if item.kind == "plan incomplete":
        return [*_incomplete_messages(item), *([(_FIRST_LOOK_BY, None)] if item.due_by else [])]
    return [(N_("A plan was signed on %(since)s and its sheet is not in the patient's hands yet."), None)]


def _incomplete_messages(item: ToReach) -> list[tuple[str, str | None]]:
    if item.questions:
        return [
            (
                N_("The plan waits for the surgeon's answer to %(questions)d question."),
                N_("The plan waits for the surgeon's answers to %(questions)d questions."),
            )
        ]
    if item.blocked:
        return [(N_("The plan waits for the surgeon's decision about a caution or a check."), None)]
    return [(N_("The plan has been waiting for the surgeon's signature since %(since)s."), None)]


def _sentence(words: Translator, singular: str, plural: str | None, item: ToReach) -> str:
    if plural is None:
        return words.gettext(singular)
    return words.ngettext(singular, plural, item.days if item.kind == "overdue" else item.questions)


def _place(item: ToReach) -> tuple[int, int, int, date, str]:
    return (_ORDER.index(item.kind), _TIERS.index(item.tier), -item.days, item.since, item.patient.code)


def _is_overdue(trip: TripView, now: datetime, zone: ZoneInfo) -> bool:
    return lateness(VisitDays(trip.day, trip.window_end, trip.status), now, zone) == "overdue"


def _overdue(facts: Open, trip: TripView, today: date) -> ToReach:
    body = facts.bodies.get(trip.plan_id)
    return ToReach(
        kind="overdue",
        patient=facts.patients[trip.patient_id],
        tier=trip.tier,
        since=date.fromordinal(trip.window_end.toordinal() + 1),
        days=days_overdue(VisitDays(trip.day, trip.window_end), today),
        plan_id=trip.plan_id,
        trip_id=trip.id,
        due_by=trip.window_end,
        missed=trip.status == "noshow",
        needs=tuple(need for need in body.needs if need.key in trip.serves) if body else (),
    )


def _by_hand(facts: Open, plan: PlanVersion, today: date) -> ToReach:
    return _from_plan(facts, plan, "plan by hand", plan.as_of, today, _soonest(plan.body.needs))


def _waits(facts: Open, plan: PlanVersion, today: date, zone: ZoneInfo) -> bool:
    """A draft with questions waits at once; an unsigned one without, from the next day on.

    A patient with a signed plan is not lost while a changed one waits, unless it has questions.
    """
    if not plan.body.signable:
        return True
    drafted = plan.drafted_at.astimezone(zone).date()
    return plan.patient_id not in facts.in_force and max(drafted, plan.as_of) < today


def _incomplete(facts: Open, plan: PlanVersion, today: date) -> ToReach:
    in_force = plan.patient_id in facts.in_force
    needs = () if in_force else _soonest(plan.body.needs)
    return _from_plan(facts, plan, "plan incomplete", plan.as_of, today, needs)


def _not_handed_over(facts: Open, plan: PlanVersion, today: date, zone: ZoneInfo) -> ToReach:
    signed = (plan.signed_at or plan.drafted_at).astimezone(zone).date()
    return _from_plan(facts, plan, "new version", signed, today, ())


def _from_plan(
    facts: Open, plan: PlanVersion, kind: Kind, since: date, today: date, needs: tuple[ReviewNeed, ...]
) -> ToReach:
    due_by = min((need.latest for need in needs), default=None)
    return ToReach(
        kind=kind,
        patient=facts.patients[plan.patient_id],
        tier=_strictest(plan.body, needs),
        since=since,
        days=max(0, (today - due_by).days) if due_by else 0,
        plan_id=plan.id,
        due_by=due_by,
        questions=sum(question.blocks for question in plan.body.questions),
        blocked=not plan.body.signable,
        needs=needs,
    )


def _soonest(needs: Iterable[ReviewNeed]) -> tuple[ReviewNeed, ...]:
    """The checks that must come first: those with the earliest last day."""
    still = [need for need in needs if need.state != "served"]
    first = min((need.latest for need in still), default=None)
    return tuple(need for need in still if need.latest == first)


def _strictest(body: CarePlan, needs: tuple[ReviewNeed, ...]) -> Tier:
    tiers = {*body.tiers.values(), *(need.tier for need in needs)}
    return next((tier for tier in _TIERS if tier in tiers), "C")
