"""The plan itself, and where it comes from: who signed it, by which protocol, made by which engine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.exchange.fhir.given import PatientToTell, PlanToTell
from followup.exchange.fhir.values import Json, concept, day, instant, notes, only, words


def care_plan(of: PatientToTell, told: PlanToTell, activities: Sequence[Json]) -> Json:
    """The plan. Without a signature it is a draft, also one that waits to be made by hand."""
    version, plan = told.version, told.plan
    days = [trip.date for trip in plan.trips] + [d for c in plan.courses for d in (c.first_day,) if d]
    last = [trip.date for trip in plan.trips] + [c.last_day for c in plan.courses if c.last_day]
    endless = any(course.goes_on for course in plan.courses)
    begins = min(days, default=plan.as_of)
    ends = None if endless else max(last, default=None)
    return only(
        identifier=[of.named.identifier("plan", f"{of.who.code}/{version.number}", of.clinic.name)],
        status=version.status if told.signed else "draft",
        intent="plan" if told.signed else "proposal",
        title=f"Drops and visits after surgery, plan {version.number}",
        description=None if told.signed else "Not signed: not for the patient.",
        subject=of.named.reference("Patient", of.who.code, of.who.name),
        period=only(start=day(begins), end=day(ends) if ends and ends >= begins else None),
        created=instant(version.drafted_at.astimezone(of.zone)),
        author=of.named.reference("Practitioner", version.signed_by, version.signed_by)
        if version.signed_by
        else None,
        activity=[{"reference": link} for link in activities],
        note=notes(_notes(of, told)),
    )


def _notes(of: PatientToTell, told: PlanToTell) -> Iterator[str]:
    plan = told.plan
    if told.version.status == "on-hold":
        yield "The protocol makes no plan for this patient: the surgeon plans by hand."
    yield from (caution.text for caution in plan.refused)
    if of.clinic.is_sample:
        yield "Sample clinic: everybody in it is invented."
    for eye, last in plan.last_steroid_day.items():
        yield f"{eye} eye: last day of the steroid {day(last)}"
    for first in plan.first_drop_days:
        if first.at:
            more = "one round more than the courses count"
            yield f"{first.eye} eye: first drops on {day(first.day)} at {first.at}, {more}"
    yield from (f"{caution.level}: {caution.text}" for caution in plan.cautions)
    yield from (f"open question: {question.text}" for question in plan.questions)
    yield from plan.notices


def practitioner(of: PatientToTell, told: PlanToTell) -> Json:
    """Whoever signed."""
    number = told.registration
    return only(
        identifier=[of.named.identifier("registration", number, of.clinic.name)] if number else [],
        name=[{"text": words(told.version.signed_by or "")}],
    )


def provenance(of: PatientToTell, told: PlanToTell, targets: Sequence[Json]) -> Json:
    """Who drafted and signed the plan, and what made it: protocol by its hash, engine by its name."""
    version, plan = told.version, told.plan
    when = instant((version.signed_at or version.drafted_at).astimezone(of.zone))
    agents = [_agent("assembler", "made", {"type": "Device", "display": f"engine {plan.engine}"})]
    agents.append(_agent("enterer", "drafted", {"display": words(version.drafted_by)}))
    if version.signed_by:
        signer = of.named.reference("Practitioner", version.signed_by, version.signed_by)
        agents.append(_agent("verifier", "signed", signer))
    by = of.clinic.name
    protocol = of.named.identifier("protocol, SHA-256 of its files", plan.protocol_hash, by)
    approved = told.approved
    said = (
        f"approved by {approved.signer} on {day(approved.signed_at.astimezone(of.zone).date())}"
        if approved
        else "approved by nobody"
    )
    return only(
        target=list(targets),
        occurredDateTime=when,
        recorded=when,
        activity=concept("plan signed" if told.signed else "plan drafted, not signed"),
        agent=agents,
        entity=[
            {
                "role": "source",
                "what": {"identifier": protocol, "display": words(f"protocol {plan.protocol}, {said}")},
            }
        ],
    )


def _agent(code: str, did: str, who: Json) -> Json:
    return {"type": concept(did, code), "who": who}
