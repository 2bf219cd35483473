"""Conditions of the course itself: how much, for how long. No field of the record says that."""

from __future__ import annotations

from followup.clinical.facts.answer import Answer, OnePerson, answer
from followup.clinical.facts.of_person import diabetes


def past_label_days(situation: OnePerson) -> Answer:
    """Longer than the strictest label; a label for people with diabetes counts for them alone."""
    diabetic = diabetes(situation).value is True
    longest = situation.medicine.longest_label_days(diabetes=diabetic)
    past = longest is not None and situation.days > longest
    return answer(past, "patient.conditions.diabetes")
