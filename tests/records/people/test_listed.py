"""What the store knows of the people whom a table names: those alone, each with what is the own."""

from __future__ import annotations

import pytest
from crowd import EVERYBODY, TODAY, Crowd

from followup.records.people.listed import KnownPatient, known_patients, lists_of_days
from followup.records.people.oplist import ListLine, put_operation_list
from followup.records.people.patients import patients_by_id


@pytest.fixture(scope="module")
def crowd(shared_ward) -> Crowd:
    return Crowd(shared_ward)


def test_of_codes_that_a_table_names_those_are_known_who_are_in_the_store_each_with_the_own_operations(crowd):
    """Asked for five hundred at a time: here with more codes than that."""
    ward = crowd.ward
    with ward.store.read() as session:
        who = patients_by_id(session, [crowd.patients[name] for name in ("open", "died", "moved")])
        codes = [*(one.code.upper() for one in who.values()), *(f"N-{n}" for n in range(1_200)), "open-2"]
        found = known_patients(session, codes)
    operated = {(ward.day0, "right")}
    assert found == {
        name: KnownPatient(
            who[crowd.patients[name]].id, name, who[crowd.patients[name]].name, 1, standing, operated
        )
        for name, standing in (("open", "followed"), ("died", "died"), ("moved", "moved away"))
    }


def test_the_lists_of_days_are_those_of_these_days_in_their_order(crowd):
    ward = crowd.ward
    first, second = ListLine("Z-1", "Zoe", "left"), ListLine("A-1", "Asha", "right")

    def listed(unit):
        put_operation_list(unit, day=ward.day(3), lines=[first, second])
        put_operation_list(unit, day=ward.day(4), lines=[second])
        return lists_of_days(unit.session, [ward.day(3), ward.day(5)])

    assert ward.would(ward.at(TODAY), listed, by=EVERYBODY) == {ward.day(3): (first, second)}
