"""Handed on in forms that other programs read: a patient, visits for a calendar."""

from __future__ import annotations

from typing import Any

from fastapi import Response

from followup.care.exchange.agenda import day_agenda, patient_agenda
from followup.care.exchange.fhir import patient_bundle
from followup.clinical.record.base import Day
from followup.desks.api.base import Code, router_of
from followup.desks.door.hand import AnyHand
from followup.desks.page.handed_on import CALENDAR, FHIR, calendar_answer, fhir_answer

router = router_of("Handing on")
_BUNDLE: dict[int | str, dict[str, Any]] = {200: {"content": {FHIR: {"schema": {"type": "object"}}}}}
_EVENTS: dict[int | str, dict[str, Any]] = {200: {"content": {CALENDAR: {"schema": {"type": "string"}}}}}


@router.get("/patients/{code}/fhir", response_class=Response, responses=_BUNDLE)
def fhir(hand: AnyHand, code: Code) -> Response:
    """The patient as a bundle of FHIR R4: the plan in force, else the newest, with what was done and seen.

    Nothing of a plan without a signature is more than a draft.
    """
    return fhir_answer(patient_bundle(hand, code), code)


@router.get("/patients/{code}/visits.ics", response_class=Response, responses=_EVENTS)
def visits(hand: AnyHand, code: Code) -> Response:
    """The patient's visits and changes of drops as iCalendar, in the patient's language.

    No name, diagnosis or medicine; what is not to be any more comes once more as cancelled.
    """
    return calendar_answer(patient_agenda(hand, code), f"visits-{code}")


@router.get("/visits.ics", response_class=Response, responses=_EVENTS)
def day(hand: AnyHand, on: Day | None = None) -> Response:
    """The visits of a day with their patients as iCalendar, today's without one."""
    asked = on or hand.today
    return calendar_answer(day_agenda(hand, asked, hand.texts.told), f"visits-{asked}")
