"""What was done and what was seen: operations as procedures, findings as observations."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, time, timedelta

from followup.clinical.record import Findings, Operation
from followup.exchange.fhir.given import PatientToTell
from followup.exchange.fhir.values import (
    Json,
    amount,
    coding,
    concept,
    day,
    eye_site,
    instant,
    notes,
    only,
    words,
)

_NOT_DONE = ("not done", "not seen")
_CODED_PROCEDURE = "phacoemulsification"
_CELLS = "SUN grade, cells in a field of 1 x 1 mm"


def procedure(of: PatientToTell, operation: Operation) -> Json:
    """One operation. An operation that was halted is a procedure that was stopped."""
    code = operation.procedure if operation.procedure == _CODED_PROCEDURE else None
    surgeon = words(operation.surgeon or "")
    return only(
        status="stopped" if operation.halted else "completed",
        code=concept(operation.procedure, code),
        subject=of.named.reference("Patient", of.who.code, of.who.name),
        **_performed(of, operation),
        performer=[{"actor": {"type": "Practitioner", "display": surgeon}}] if surgeon else [],
        bodySite=[eye_site(operation.eye)],
        note=notes([operation.free_text or ""]),
    )


def _performed(of: PatientToTell, operation: Operation) -> Json:
    if not (operation.start and operation.end):
        return {"performedDateTime": day(operation.date)}
    over = operation.date + timedelta(days=operation.end < operation.start)
    return {
        "performedPeriod": {
            "start": instant(datetime.combine(operation.date, time.fromisoformat(operation.start), of.zone)),
            "end": instant(datetime.combine(over, time.fromisoformat(operation.end), of.zone)),
        }
    }


def observations(of: PatientToTell, look: Findings) -> Iterator[tuple[str, Json]]:
    """Pressure, vision and cells of one look, by what each is. "Not done" is told as that, silence not."""
    if look.pressure is not None:
        told = look.pressure
        value = _not_performed() if told == "not done" else {"valueQuantity": amount(float(told), "pressure")}
        device = concept(look.pressure_device) if look.pressure_device else None
        code = concept(f"intraocular pressure, {look.eye} eye", f"pressure-{look.eye}")
        yield "pressure", _observation(of, look, code) | value | only(method=device)
    for name, written in (
        ("vision", look.vision),
        ("vision through a pinhole", look.pinhole),
        ("vision with best glasses", look.best_corrected),
        ("refraction", look.refraction),
    ):
        if written is not None:
            value = _not_performed() if written in _NOT_DONE else {"valueString": words(written)}
            yield name, _observation(of, look, concept(f"{name}, {look.eye} eye")) | value
    if look.cells is not None:
        value = (
            _not_performed()
            if look.cells in _NOT_DONE
            else {"valueCodeableConcept": concept(f"{look.cells} ({_CELLS})")}
        )
        yield "cells", _observation(of, look, concept(f"cells in the front chamber, {look.eye} eye")) | value


def _not_performed() -> Json:
    return {"dataAbsentReason": concept("not done", "not-performed")}


def _observation(of: PatientToTell, look: Findings, code: Json) -> Json:
    at = datetime.combine(look.date, time.fromisoformat(look.time), of.zone) if look.time else None
    return only(
        status="final",
        category=[{"coding": [coding("exam")]}],
        code=code,
        subject=of.named.reference("Patient", of.who.code, of.who.name),
        effectiveDateTime=instant(at) if at else day(look.date),
        performer=[{"type": "Practitioner", "display": words(look.by)}] if look.by else [],
        bodySite=eye_site(look.eye),
    )
