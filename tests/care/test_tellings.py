"""A told operation goes with a record only after a person answered what is doubtful, whoever sends it."""

from __future__ import annotations

import pytest

from followup.care.records.recording import Correction, NewRecord, correct, enter, find_patient, tellings
from followup.care.records.telling import OperationTold, ToRead, read
from followup.errors import FollowupError

SURE = "Phaco. Cut 2.2 mm. Capsule intact."
DOUBTFUL = "Phaco. Capsule possibly torn."
FIELD = "operation.capsule_torn"


def _told(text, **more):
    return OperationTold(text=text, **more)


def _kept(hand, code="K-1"):
    who = find_patient(hand, code)
    return [one.text for one in tellings(hand, who.id)] if who else None


def test_what_was_told_is_stored_with_the_record_in_one_go_and_once(ward, by):
    hand, act = by(ward.counsellor), NewRecord(record=ward.record(), telling=_told(SURE))
    assert enter(hand, act) == enter(hand, act)
    assert _kept(hand) == [SURE]


def test_a_doubtful_line_that_nobody_answered_hinders_everything(ward, by, refused):
    hand = by(ward.counsellor)
    with pytest.raises(FollowupError) as found:
        enter(hand, NewRecord(record=ward.record(), telling=_told(DOUBTFUL, answered=("operation.lens",))))
    assert (found.value.code, found.value.where) == ("telling.asked", "Operations 1, Capsule torn")
    assert _kept(hand) is None, "not even the record"
    enter(hand, NewRecord(record=ward.record(), telling=_told(DOUBTFUL, answered=(FIELD,))))
    (kept,) = tellings(hand, find_patient(hand, "K-1").id)
    assert (kept.text, kept.asked) == (DOUBTFUL, (FIELD,))


def test_a_correction_asks_likewise_and_keeps_what_was_told_before(ward, by, refused):
    hand = by(ward.counsellor)
    enter(hand, NewRecord(record=ward.record(), telling=_told(SURE)))
    changed = ward.record(language="bn")
    act = Correction(seen=1, record=changed, telling=_told(DOUBTFUL))
    assert refused(correct, hand, "K-1", act) == "telling.asked"
    correct(hand, "K-1", Correction(seen=1, record=changed))
    assert _kept(hand) == [SURE]
    # The record stands already as it is sent: what was told of it is kept all the same.
    correct(hand, "K-1", Correction(seen=2, record=changed, telling=_told(DOUBTFUL, answered=(FIELD,))))
    assert sorted(_kept(hand)) == sorted([SURE, DOUBTFUL])


def test_a_text_that_is_none_stores_nothing(ward, by, refused):
    hand = by(ward.counsellor)
    for text, code in (("", "empty"), ("Phaco.\x07", "control"), ("phaco " * 200_000, "too-long")):
        act = NewRecord(record=ward.record(), telling=_told(text))
        assert refused(enter, hand, act) == f"telling.{code}"
        assert refused(read, hand, ToRead(text=text, eye="right")) == f"telling.{code}"
    assert _kept(hand) is None


def test_a_telling_of_the_other_eye_stores_nothing(ward, by, refused):
    hand, told = by(ward.counsellor), _told("Left eye. Phaco. Cut 2.2 mm.")
    assert refused(enter, hand, NewRecord(record=ward.record(), telling=told)) == "telling.another-eye"
    assert _kept(hand) is None


def test_a_correction_to_the_eye_that_was_not_told_is_refused_until_it_is_told_anew(ward, by, refused):
    hand, told = by(ward.counsellor), _told(f"Right eye. {SURE}")
    enter(hand, NewRecord(record=ward.record(), telling=told))
    other = ward.record(eye="left")
    assert refused(correct, hand, "K-1", Correction(seen=1, record=other)) == "telling.another-eye"
    correct(hand, "K-1", Correction(seen=1, record=other, telling=_told(f"Left eye. {SURE}")))
    assert set(_kept(hand)) == {f"Left eye. {SURE}", f"Right eye. {SURE}"}


def test_it_goes_with_an_operation_of_the_record(ward, by, refused):
    hand = by(ward.counsellor)
    act = NewRecord(record=ward.record(), telling=_told(SURE, operation=1))
    assert refused(enter, hand, act) == "telling.operation"
    enter(hand, NewRecord(record=ward.record(), telling=_told(SURE, operation=0)))
    (kept,) = tellings(hand, find_patient(hand, "K-1").id)
    assert (kept.eye, kept.day) == ("right", ward.record().operations[0].date)


def test_reading_stores_nothing_and_gives_routine_answers_only_for_what_nothing_speaks_against(ward, by):
    hand = by(ward.counsellor)
    found = read(hand, ToRead(text=SURE, eye="right"))
    assert found.telling.read == {
        "operation.procedure": "phacoemulsification",
        "operation.cut_mm": 2.2,
        FIELD: False,
        "operation.capsule_whole": True,
    }
    assert found.routine["operation.vitreous_lost"] is False
    assert FIELD not in found.routine
    torn = read(hand, ToRead(text="Phaco. Capsule torn.", eye="right"))
    assert "operation.vitreous_lost" not in torn.routine
    assert _kept(hand) is None
