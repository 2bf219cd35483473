"""Eyes in danger: what a stored look opens and closes, and what stands open on every page of the patient."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line
from followup.care.hand import Hand
from followup.care.plans.planning import with_visits
from followup.clinical.plan.served import seen_by_findings
from followup.clinical.record import Findings, Record
from followup.clinical.review.proposal import Outcome
from followup.clinical.review.review import review
from followup.errors import FollowupError
from followup.language.catalogues import N_
from followup.records.desk.alerts import Alert, close_alert, close_walk_ins, open_alert, open_alerts
from followup.records.desk.leaving import close_by_findings
from followup.records.people.patients import known, lock_patient, patients_by_id
from followup.records.plans.plans import active_plan, plans_of
from followup.records.store.store import Session, Unit
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trips_of
from followup.records.views import PatientView

# What is asked of everybody who comes without a visit, by the word that is stored.
QUESTIONS: dict[str, str] = {
    "sight falls": N_("Is the sight falling?"),
    "pain": N_("Is there pain?"),
    "redness grows": N_("Is the redness growing?"),
    "knock or flashes": N_("A knock on the eye, or flashes, a curtain, a shower of spots?"),
}
SIGNS: dict[str, str] = {
    "sight falls": N_("sight is falling"),
    "pain": N_("pain"),
    "redness grows": N_("redness is growing"),
    "knock or flashes": N_("a knock, or flashes, a curtain, spots"),
}


@dataclass(frozen=True)
class InDanger:
    """An alert with whose it is."""

    alert: Alert
    who: PatientView


class Closed(Act):
    """``word``: what was done."""

    word: Annotated[Line, Field(min_length=1)]


def look_stored(unit: Unit, hand: Hand, patient_id: int, record: Record, look: Findings) -> Outcome | None:
    """What a look just stored in ``record`` does: it closes what it has seen, and calls for a senior.

    What it leads to comes back; None where nothing can be proposed.
    """
    patient = lock_patient(unit, patient_id)
    if seen_by_findings(record, hand.protocol, "", look.eye, look.date):
        close_walk_ins(unit, patient, word="a look was stored")
    close_by_findings(unit, patient_id=patient_id, record=record, protocol=hand.protocol, day=look.date)
    try:
        outcome = outcome_in(unit.session, hand, patient_id, record, look)
    except FollowupError:
        outcome = None
    signs = _senior(outcome) if outcome else _flags(hand, look)
    if signs:
        open_alert(
            unit, patient_id=patient_id, kind="senior review", eye=look.eye, day=look.date, signs=signs
        )
    return outcome


def newest_looks(before: Record | None, after: Record) -> tuple[Findings, ...]:
    """The newest look at each eye in ``after``, where ``before`` does not hold it."""
    kept = before.reviews if before else ()
    newest = {}
    for look in sorted(after.reviews, key=lambda each: (each.date, each.time or "")):
        newest[look.eye] = look
    return tuple(look for look in newest.values() if look not in kept)


def in_danger(session: Session) -> tuple[InDanger, ...]:
    """Everybody about whom something stands open: walk-ins first, then longest open first."""
    alerts = open_alerts(session)
    people = patients_by_id(session, {alert.patient_id for alert in alerts})
    return tuple(InDanger(one, people[one.patient_id]) for one in alerts if one.patient_id in people)


def close_one(hand: Hand, code: str, alert_id: int, sent: Closed) -> None:
    """Close an alert with a word of what was done. Errors: those of ``close_alert``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        close_alert(unit, patient_id=known(unit.session, code).id, alert_id=alert_id, word=sent.word)


def outcome_in(session: Session, hand: Hand, patient_id: int, record: Record, look: Findings) -> Outcome:
    """What a look of ``record`` leads to beside the plan in force. Errors: those of the review."""
    base = active_plan(session, patient_id) or next(iter(plans_of(session, patient_id)), None)
    return review(
        with_visits(record, trips_of(session, patient_id), look.date),
        hand.protocol,
        look,
        calendar=planning_calendar(session, patient_id),
        edits=base.edits if base else (),
    )


def _senior(outcome: Outcome) -> tuple[str, ...]:
    """The findings of a look that ask for a senior; that a patient is followed by hand is none."""
    notes = (note for note in outcome.notes if note.level == "stop" and note.id != "by-hand")
    return tuple(caution.text for caution in (*outcome.senior, *notes))


def _flags(hand: Hand, look: Findings) -> tuple[str, ...]:
    """The red flags of a look that nothing can be proposed for, such as one after the follow-up."""
    return tuple(
        flag.text
        for flag in hand.protocol.review.flag
        if not flag.when
        and flag.pressure_at_least is None
        and flag.to_day is None
        and getattr(look, flag.finding, None) in flag.is_
    )
