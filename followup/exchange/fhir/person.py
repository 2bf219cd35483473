"""Who the patient is, and what must not be given."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.careplan import AllergyLine
from followup.clinical.facts.allergies_told import allergy_lines
from followup.clinical.protocol.formulary import label_of
from followup.clinical.record import Phone
from followup.exchange.fhir.given import PatientToTell
from followup.exchange.fhir.values import Json, coding, concept, day, notes, only, words


def patient(of: PatientToTell) -> Json:
    """Birth as it is known: the day, or the year alone."""
    told = of.record.patient
    latin = [{"use": "usual", "text": words(told.name_latin)}] if told.name_latin else []
    born = day(told.birth_date) if told.birth_date else told.birth_year and f"{told.birth_year:04d}"
    return only(
        identifier=[of.named.identifier("patient code", told.code, of.clinic.name)],
        name=[{"use": "official", "text": words(told.name)}, *latin],
        telecom=[_telephone(phone) for phone in told.telephones if phone.whose == "own"],
        gender=told.sex or "unknown",
        birthDate=born,
        deceasedBoolean=of.died or None,
        contact=[
            {"relationship": [concept(phone.whose)], "telecom": [_telephone(phone)]}
            for phone in told.telephones
            if phone.whose != "own"
        ],
        communication=list(_languages(of)),
    )


def _telephone(phone: Phone) -> Json:
    return {"system": "phone", "value": phone.number}


def _languages(of: PatientToTell) -> Iterator[Json]:
    """Those that are spoken, and the one that sheets are printed in, as the preferred one."""
    told = of.record.patient
    tags = dict.fromkeys(tag for tag in (told.language, *told.speaks, told.second_language) if tag)
    for tag in tags:
        language = {"coding": [{"system": "urn:ietf:bcp:47", "code": tag}]}
        yield only(language=language, preferred=True if tag == told.language else None)


def allergies(of: PatientToTell) -> Iterator[Json]:
    """One for each entry of the record and for its words; "none" only where that was asked and said."""
    lines = allergy_lines(of.record)
    for line in lines:
        yield _allergy(of, concept(_to(of, line)), line)
    if not lines and of.record.patient.no_other_allergy:
        yield _allergy(of, concept("no known allergy", "no-known-allergy"), AllergyLine())


def _allergy(of: PatientToTell, code: Json, line: AllergyLine) -> Json:
    told = line.reaction if line.reaction not in (None, "not known") else None
    severe = {"severity": "severe"} if told == "severe" else {}
    shown = "blisters, swelling or collapse" if told == "severe" else told
    return only(
        clinicalStatus={"coding": [coding("allergy-active")]},
        verificationStatus={"coding": [coding("allergy-unconfirmed")]},
        criticality="high" if told == "severe" else None,
        code=code,
        patient=of.named.reference("Patient", of.who.code, of.who.name),
        note=notes(["Told in words; not read by the program."] if line.words else []),
        reaction=[{"manifestation": [concept(shown)]} | severe] if shown else [],
    )


def _to(of: PatientToTell, line: AllergyLine) -> str:
    if line.words is not None:
        return line.words
    if line.medicine is not None:
        return label_of(line.medicine, of.formulary)
    return line.described or str(line.to)
