"""Patients, versions of their records, the operation list and the search."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from birthdays import AGES
from hypothesis import example, given
from hypothesis import strategies as st
from sqlalchemy import event

from followup.errors import FollowupError
from followup.records.people.folding import fold_name, fold_phone
from followup.records.people.oplist import ListLine, check_against_list, operations_on, put_operation_list
from followup.records.people.patients import (
    correct_record,
    newest_record,
    patient,
    patient_by_code,
    record_versions,
    search_patients,
)


def _refused(caught) -> str:
    assert "\n" not in caught.value.line
    return caught.value.code


def test_an_entered_record_comes_back_whole(ward):
    record = ward.record(telephones=[{"number": "+44 20 7946 0123", "whose": "carer"}], can_squeeze=False)
    patient_id = ward.enter(record)
    with ward.store.read() as session:
        found = newest_record(session, patient_id)
        who = patient(session, patient_id)
    assert (found.record, found.number, found.entered_by) == (record, 1, "mira")
    assert (who.code, who.name, who.eyes, who.telephones) == (
        "K-1",
        "Wanjiru Ndegwa",
        ("right",),
        record.patient.telephones,
    )


def test_a_code_in_use_is_refused_whatever_its_case_and_nothing_is_stored(ward):
    ward.enter()
    with pytest.raises(FollowupError) as caught:
        ward.enter(ward.record("k-1", name="Somebody Else"))
    assert _refused(caught) == "record.exists"
    with ward.store.read() as session:
        assert len(search_patients(session, "k-1")) == 1
        assert not search_patients(session, "somebody")


def test_a_correction_is_a_new_version_and_the_old_one_stays(ward):
    patient_id = ward.enter()
    changed = ward.record(name="Wanjiru Kamau")
    with ward.store.write(ward.counsellor, ward.now) as unit:
        assert correct_record(unit, patient_id=patient_id, record=changed, seen=1).number == 2
    with ward.store.read() as session:
        assert [v.record.patient.name for v in record_versions(session, patient_id)] == [
            "Wanjiru Kamau",
            "Wanjiru Ndegwa",
        ]
        assert patient(session, patient_id).record_number == 2
        assert [p.name for p in search_patients(session, "kamau")] == ["Wanjiru Kamau"]
        assert not search_patients(session, "ndegwa")


def test_a_correction_of_an_older_version_is_told_who_was_faster(ward):
    patient_id = ward.enter()
    with ward.store.write(ward.surgeon, ward.now) as unit:
        correct_record(unit, patient_id=patient_id, record=ward.record(name="A B"), seen=1)
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.counsellor, ward.now) as unit:
        correct_record(unit, patient_id=patient_id, record=ward.record(name="C D"), seen=1)
    assert _refused(caught) == "record.changed"
    assert "sen" in caught.value.what


def test_a_patient_who_does_not_exist_is_refused_everywhere(ward):
    with ward.store.read() as session:
        for look in (patient, newest_record):
            with pytest.raises(FollowupError) as caught:
                look(session, 4711)
            assert _refused(caught) == "patient.unknown"
        assert patient_by_code(session, "X") is None
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.counsellor, ward.now) as unit:
        correct_record(unit, patient_id=4711, record=ward.record(), seen=1)
    assert _refused(caught) == "patient.unknown"


def test_saving_without_a_change_makes_no_version(ward):
    patient_id = ward.enter()
    with ward.store.write(ward.counsellor, ward.now) as unit:
        assert correct_record(unit, patient_id=patient_id, record=ward.record(), seen=1).number == 1


def test_a_correction_can_not_turn_one_patient_into_another(ward):
    patient_id = ward.enter()
    with pytest.raises(FollowupError) as caught, ward.store.write(ward.counsellor, ward.now) as unit:
        correct_record(unit, patient_id=patient_id, record=ward.record("K-2"), seen=1)
    assert _refused(caught) == "record.code"


def test_the_other_eye_than_on_the_operation_list_is_refused(ward):
    _list(ward, ListLine("k-1", "Wanjiru Ndegwa", "left"))
    with pytest.raises(FollowupError) as caught:
        ward.enter(ward.record(eye="right"))
    assert _refused(caught) == "record.eye"
    with ward.store.read() as session:
        assert patient_by_code(session, "K-1") is None
    ward.enter(ward.record(eye="left"))


def test_both_eyes_of_a_patient_may_stand_on_the_list(ward):
    _list(ward, ListLine("K-1", "W", "left"), ListLine("K-1", "W", "right"))
    ward.enter(ward.record(eye="right"))
    with ward.store.read() as session:
        assert [check.result for check in check_against_list(session, ward.record())] == ["agrees"]


def test_a_patient_who_is_not_on_the_list_is_said_to_be_so(ward):
    _list(ward, ListLine("K-7", "X", "left"))
    with ward.store.read() as session:
        assert [check.result for check in check_against_list(session, ward.record())] == ["not on the list"]


def test_a_list_with_the_same_eye_twice_is_refused(ward):
    with pytest.raises(FollowupError) as caught:
        _list(ward, ListLine("K-1", "W", "left"), ListLine("k-1 ", "W", "left"))
    assert _refused(caught) == "list.double"


def test_the_day_shows_what_is_expected_what_is_entered_and_how_far_the_plan_is(ward):
    _list(ward, ListLine("K-2", "Tom", "left"), ListLine("K-1", "W", "right"))
    ward.draft(ward.enter())
    ward.enter(ward.record("K-3", name="Not Listed"))
    with ward.store.read() as session:
        lines = operations_on(session, ward.day0)
    assert [(x.patient_code, x.eye, x.on_list, x.entered, x.plan_status) for x in lines] == [
        ("K-2", "left", True, False, None),
        ("K-1", "right", True, True, "draft"),
        ("K-3", "right", False, True, None),
    ]


def test_a_new_list_replaces_the_old_one_of_that_day_only(ward):
    _list(ward, ListLine("K-2", "Tom", "left"))
    _list(ward, ListLine("K-4", "Peter", "right"))
    with ward.store.read() as session:
        assert [line.patient_code for line in operations_on(session, ward.day0)] == ["K-4"]
        assert operations_on(session, ward.day(1)) == ()


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("José", ["José Álvares"]),
        ("alvares jose", ["José Álvares"]),
        ("ÁLV", ["José Álvares"]),
        ("আমিনা", ["আমিনা খাতুন"]),
        ("p-1", ["José Álvares", "আমিনা খাতুন"]),
        ("7946 0555", ["José Álvares"]),
        ("020 7946-0555", []),
        ("(20) 7946.0555", ["José Álvares"]),
        ("555", []),
        ("%", []),
        ("_", []),
        ("", []),
        ("jose nobody", []),
    ],
)
def test_the_search_finds_by_code_name_and_telephone(ward, typed, found):
    ward.enter(ward.record("P-1", name="José Álvares", telephones=[{"number": "+44 20 7946 0555"}]))
    ward.enter(ward.record("P-10", name="আমিনা খাতুন"))
    with ward.store.read() as session:
        assert [who.name for who in search_patients(session, typed)] == found


def test_the_search_asks_the_database_as_often_for_one_patient_as_for_three(ward):
    counts = []
    for number in range(3):
        ward.enter(ward.record(f"P-{number}", name=f"Common Name{number}"))
        asked: list[str] = []

        def note(_c, _cursor, statement, *_rest, asked=asked):
            asked.append(statement)

        event.listen(ward.store.engine, "before_cursor_execute", note)
        with ward.store.read() as session:
            assert len(search_patients(session, "common")) == number + 1
        event.remove(ward.store.engine, "before_cursor_execute", note)
        counts.append(sum(statement.startswith("SELECT") for statement in asked))
    assert counts[0] == counts[2] > 0


def test_the_age_is_exact_with_a_birth_date_and_a_range_with_a_year(sqlite_ward):
    ward = sqlite_ward
    ward.enter(ward.record("A-1", birth_year=None, birth_date="1956-03-01"))
    ward.enter(ward.record("A-2", birth_year=1956))
    with ward.store.read() as session:
        exact, about = patient_by_code(session, "a-1"), patient_by_code(session, "a-2")
    assert [exact.age_on(ward.day(n)) for n in (-1, 0)] == ["70", "71"]
    for born, on, years in AGES:
        assert replace(exact, birth_date=born).age_on(on) == str(years), (born, on)
    ages = [about.age_on(date(year, 7, 1)) for year in (1956, 1957, 2027)]
    assert ages == ["0", "0-1", "70-71"]


@example("\U0001d5a0")  # a letter of its own that opens into a capital A
@given(st.text(max_size=40))
def test_folding_a_name_twice_is_folding_it_once(name):
    assert fold_name(fold_name(name)) == fold_name(name)


def test_folding_keeps_the_vowel_signs_that_tell_indic_names_apart():
    assert fold_name("মিতা") != fold_name("মাতা")
    assert fold_name("مُحَمَّد") == fold_name("محمد")


def test_digits_of_any_script_are_one_telephone_number():
    assert fold_phone("০২০ ٧٩٤٦") == "0207946"


def _list(ward, *lines: ListLine) -> None:
    with ward.store.write(ward.counsellor, ward.now) as unit:
        put_operation_list(unit, day=ward.day0, lines=lines)


@pytest.mark.parametrize("sign", ["%", "_", "%%", "K_1", "*", "?", "K-1%", "\\", "' OR 1=1 --"])
def test_a_sign_that_stands_for_anything_in_a_search_stands_for_itself(ward, sign):
    """OWASP ASVS 5.0, 1.2.4 and 1.2.9."""
    ward.enter()
    with ward.store.read() as session:
        assert [found.code for found in search_patients(session, "K-1")] == ["K-1"]
        assert search_patients(session, sign) == ()
