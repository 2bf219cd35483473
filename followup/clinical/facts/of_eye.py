"""Conditions of the eye that gets the medicine: its history, its operations, its last look."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from followup.clinical.facts.answer import Answer, Condition, OnePerson, answer, any_of
from followup.clinical.record import Eye
from followup.clinical.record.base import BOTH_EYES, UNSEEN
from followup.clinical.record.patient import EyeHistory


def history(name: str, test: Callable[[Any], bool | None], *, silence: bool | None = None) -> Condition:
    """A test of one field of the eye's history; ``silence`` is what an empty field means."""

    def of(eye: EyeHistory) -> bool | None:
        said = getattr(eye, name)
        return silence if said is None else test(said)

    return lambda situation: any_of(
        [answer(of(situation.history(eye)), f"patient.eyes.{eye}.{name}") for eye in situation.eyes]
    )


def herpes(situation: OnePerson) -> Answer:
    """Herpes of the cornea or herpetic uveitis, ever."""
    return any_of([_herpes(situation.history(eye), eye) for eye in situation.eyes])


def _herpes(eye: EyeHistory, name: Eye) -> Answer:
    if eye.uveitis is not None and (eye.uveitis.herpetic or eye.uveitis.kind == "herpetic"):
        field = "herpetic" if eye.uveitis.herpetic else "kind"
        return answer(True, f"patient.eyes.{name}.uveitis.{field}")
    return answer(eye.herpetic_keratitis is not None, f"patient.eyes.{name}.herpetic_keratitis")


def herpes_active(situation: OnePerson) -> Answer:
    def of(eye: Eye) -> Answer:
        keratitis = situation.history(eye).herpetic_keratitis
        field = f"patient.eyes.{eye}.herpetic_keratitis"
        if keratitis is None:
            return answer(False, field)
        return answer(keratitis.active_epithelial_disease, f"{field}.active_epithelial_disease")

    return any_of([of(eye) for eye in situation.eyes])


def macular_oedema(situation: OnePerson) -> Answer:
    """Before surgery, after an earlier operation of this eye, or at its last look."""

    def of(eye: Eye) -> Answer:
        path = f"patient.eyes.{eye}"
        past = situation.history(eye)
        earlier = past.after_earlier_operation
        told = [
            answer(past.macular_oedema, f"{path}.macular_oedema"),
            answer(
                earlier.macular_oedema if earlier else None, f"{path}.after_earlier_operation.macular_oedema"
            ),
            _last(situation, eye, "macula", ("oedema",)),
        ]
        return any_of(told)

    return any_of([of(eye) for eye in situation.eyes])


def steroid_responder(situation: OnePerson) -> Answer:
    """A known rise on steroid, in this eye or in the other."""
    told = []
    for eye in BOTH_EYES:
        path, past = f"patient.eyes.{eye}", situation.history(eye)
        earlier = past.after_earlier_operation
        told += [
            answer(past.rise_on_steroid is not None or past.steroid_responder, f"{path}.steroid_responder"),
            answer(
                earlier.pressure_rise_on_steroid if earlier else None,
                f"{path}.after_earlier_operation.pressure_rise_on_steroid",
            ),
        ]
    return any_of(told)


def at_surgery(name: str, *, latest: bool = False) -> Condition:
    """Something that happened at any operation of this eye (``latest``: at the last one only)."""

    def condition(situation: OnePerson) -> Answer:
        told = [
            answer(getattr(operation, name), f"operations.{index}.{name}")
            for eye in situation.eyes
            for index, operation in situation.operations(eye)[-1 if latest else 0 :]
        ]
        return any_of(told) if told else answer(False)

    return condition


def at_surgery_or_look(name: str, finding: str, bad: tuple[str, ...]) -> Condition:
    """Something from the latest operation that a later look shows or shows to be gone."""

    def of(situation: OnePerson, eye: Eye) -> Answer:
        seen = _last(situation, eye, finding, bad)
        operations = situation.operations(eye)
        if seen.value is not None or not operations:
            return seen
        index, operation = operations[-1]
        field = f"operations.{index}.{name}"
        return Answer(getattr(operation, name), (field,), (field, f"reviews.{finding}"))

    return lambda situation: any_of([of(situation, eye) for eye in situation.eyes])


def at_look(finding: str, bad: tuple[str, ...]) -> Condition:
    """What the last look that recorded this finding saw."""
    return lambda situation: any_of([_last(situation, eye, finding, bad) for eye in situation.eyes])


def angle_at_risk(situation: OnePerson) -> Answer:
    """A shallow chamber, pressure from behind, or a shallow or flat chamber at the last look.

    The depth not written down at the operation: not recorded. An eye without operation: no.
    """
    return any_of([_angle_at_risk(situation, eye) for eye in situation.eyes])


def _angle_at_risk(situation: OnePerson, eye: Eye) -> Answer:
    operations = situation.operations(eye)
    if not operations:
        return answer(False)
    index, operation = operations[-1]
    depth = operation.chamber
    told = [
        answer(None if depth is None else depth != "normal", f"operations.{index}.chamber"),
        answer(operation.pressure_from_behind is True, f"operations.{index}.pressure_from_behind"),
    ]
    look = _last(situation, eye, "chamber", ("shallow", "flat"))
    return any_of(told if look.value is None else [*told, look])


def _last(situation: OnePerson, eye: Eye, finding: str, bad: tuple[str, ...]) -> Answer:
    values = [getattr(review, finding) for review in situation.reviews(eye)]
    seen = [value for value in values if value not in UNSEEN]
    return answer(seen[-1] in bad if seen else None, f"reviews.{finding}")
