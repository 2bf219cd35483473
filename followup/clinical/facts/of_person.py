"""Conditions of the whole person: illnesses, other medicines, pregnancy."""

from __future__ import annotations

from followup.clinical.facts.answer import Answer, Condition, OnePerson, answer, any_of

# Past this age a pregnancy that is not mentioned is taken as none (common practice, no source);
# the calendar year alone, where only a birth year is known, makes the person as young as possible.
PAST_CHILD_BEARING = 56


def stated(name: str) -> Condition:
    """A yes/no of the patient's conditions, read as it stands."""

    def condition(situation: OnePerson) -> Answer:
        return answer(getattr(situation.record.patient.conditions, name), f"patient.conditions.{name}")

    return condition


def stated_or_taken(name: str) -> Condition:
    """The same of a medicine that a described tablet in use can show too."""
    said = stated(name)

    def condition(situation: OnePerson) -> Answer:
        shown = situation.taken.get(name, ())
        return any_of([said(situation), answer(True, *shown)]) if shown else said(situation)

    return condition


def diabetes(situation: OnePerson) -> Answer:
    said = situation.record.patient.conditions.diabetes
    return answer(None if said is None else said != "no", "patient.conditions.diabetes")


def inhibitor(kind: str) -> Condition:
    """Whether the strong CYP3A4 inhibitor in use is of this kind."""

    def condition(situation: OnePerson) -> Answer:
        if shown := situation.taken.get(kind):
            return answer(True, *shown)
        said = situation.record.patient.conditions.cyp3a4_inhibitor
        return answer(None if said is None else said == kind, "patient.conditions.cyp3a4_inhibitor")

    return condition


def pregnant(situation: OnePerson) -> Answer:
    said = situation.record.patient.conditions.pregnancy
    field = "patient.conditions.pregnancy"
    if said is not None:
        return answer(said != "no", field)
    return _not_told(situation)


def trimester(*thirds: str) -> Condition:
    """Pregnant, in one of these thirds of the pregnancy."""

    def condition(situation: OnePerson) -> Answer:
        said = situation.record.patient.conditions.pregnancy
        if said is not None:
            return answer(said in thirds, "patient.conditions.pregnancy")
        return _not_told(situation)

    return condition


def _not_told(situation: OnePerson) -> Answer:
    """No pregnancy recorded: none in a man or past child-bearing age, otherwise not recorded."""
    patient = situation.record.patient
    born = patient.birth_date.year if patient.birth_date else patient.birth_year
    assert born is not None
    youngest = situation.record.last_operation_day.year - born - 1
    impossible = patient.sex == "male" or youngest >= PAST_CHILD_BEARING
    return Answer(
        False if impossible else None,
        ("patient.conditions.pregnancy",),
        ("patient.conditions.pregnancy", "patient.sex", "patient.birth_date", "patient.birth_year"),
    )
