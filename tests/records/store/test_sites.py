"""Several sites in one database: staff of one see its patients alone; places are counted per site."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from followup.errors import FollowupError
from followup.recall.reach.worklist import worklist
from followup.records.desk.trip_steps import book_trip, mark_arrived
from followup.records.house.clinics import get_clinic
from followup.records.house.staff import add_staff, bind_staff, staff_by_login
from followup.records.people.oplist import ListLine, operations_on, put_operation_list
from followup.records.people.patients import newest_record, patient_by_code, search_patients
from followup.records.plans.plans import plan
from followup.records.store.sites import Site, all_sites, put_site
from followup.records.trips.trips import day_trips
from followup.records.views import SYSTEM

CALENDAR = json.dumps({"services": [{"name": "review", "capacity": 1}]})
HILL = Site(0, "HILL", "Hill room", phone_day="+44 20 7946 0155", calendar=CALENDAR)


@pytest.fixture
def hill(ward) -> Site:
    """A second site with one place a day, and one patient at each: K-1 at the first, K-2 here."""
    with ward.store.write(SYSTEM, ward.now) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room", phone_day="+44 20 7946 0155", calendar=CALENDAR))
        unit.log("site added", f"site:{site.code}")
    ward.signed("K-1")
    there = replace(ward, store=ward.store.for_site(site.id))
    there.signed("K-2")
    return site


def test_a_new_store_has_one_site_and_everybody_is_there(ward):
    with ward.store.read() as session:
        assert [(site.id, site.code) for site in all_sites(session)] == [(1, "MAIN")]


def test_staff_of_one_site_find_its_patients_alone(ward, hill):
    first, second = ward.store.for_site(1), ward.store.for_site(hill.id)
    for store, own, other in ((first, "K-1", "K-2"), (second, "K-2", "K-1")):
        with store.read() as session:
            assert patient_by_code(session, own) is not None
            assert patient_by_code(session, other) is None
            assert [who.code for who in search_patients(session, "Wanjiru")] == [own]
            assert [trip.patient_code for trip in day_trips(session, ward.day(7))] == [own]
            assert {item.patient.code for item in worklist(session, ward.at(3))} == {own}
    with ward.store.read() as session:
        assert {item.patient.code for item in worklist(session, ward.at(3))} == {"K-1", "K-2"}


def test_a_visit_or_plan_of_another_site_is_not_there_for_whoever_guesses_its_number(ward, hill):
    with ward.store.read() as session:
        (theirs,) = [trip for trip in day_trips(session, ward.day(7)) if trip.patient_code == "K-2"]
    with (
        pytest.raises(FollowupError, match="no such"),
        ward.store.for_site(1).write(ward.reception, ward.at(7)) as unit,
    ):
        mark_arrived(unit, trip_id=theirs.id, nonce="n")
    with ward.store.for_site(1).read() as session, pytest.raises(FollowupError, match="no such plan"):
        plan(session, theirs.plan_id)
    with ward.store.read() as session:
        number = patient_by_code(session, "K-2").id
    with ward.store.for_site(1).read() as session, pytest.raises(FollowupError, match="no such patient"):
        newest_record(session, number)


def test_a_code_in_use_at_another_site_is_refused_by_its_name(ward, hill):
    there = replace(ward, store=ward.store.for_site(hill.id))
    with pytest.raises(FollowupError) as caught:
        there.enter(ward.record("K-1"))
    assert caught.value.code == "record.exists"


def test_places_are_counted_per_site_and_by_its_own_calendar(ward, hill):
    ward.signed("K-3")
    there = replace(ward, store=ward.store.for_site(hill.id))
    there.signed("K-4")
    with ward.store.read() as session:
        on_day = {trip.patient_code: trip.id for trip in day_trips(session, ward.day(7))}
    for code in ("K-1", "K-3", "K-2"):
        with ward.store.write(ward.reception, ward.now) as unit:
            book_trip(unit, trip_id=on_day[code])
    with pytest.raises(FollowupError) as caught, there.store.write(ward.reception, ward.now) as unit:
        book_trip(unit, trip_id=on_day["K-4"])
    assert caught.value.code == "place.full"


def test_a_site_overrides_what_it_has_of_its_own(ward, hill):
    with ward.store.for_site(hill.id).read() as session:
        clinic = get_clinic(session)
    assert (clinic.name, clinic.phone_day, clinic.phone_night) == (
        "Hill room",
        "+44 20 7946 0155",
        "+44 20 7946 0199",
    )
    with ward.store.read() as session:
        assert get_clinic(session).name == "Riverbend Eye Clinic"


def test_each_site_has_its_own_operation_list(ward, hill):
    for site, code in ((1, "K-7"), (hill.id, "K-8")):
        with ward.store.for_site(site).write(ward.counsellor, ward.now) as unit:
            put_operation_list(unit, day=ward.day0, lines=[ListLine(code, "Asha", "left")])
    for site, code in ((1, "K-7"), (hill.id, "K-8")):
        with ward.store.for_site(site).read() as session:
            listed = [line.patient_code for line in operations_on(session, ward.day0) if line.on_list]
        assert listed == [code]


def test_staff_are_bound_to_a_site_and_act_there(ward, hill):
    with ward.store.write(SYSTEM, ward.now) as unit:
        add_staff(unit, login="asha", name="Asha", roles=["reception"], password_hash="x")
        bind_staff(unit, login="asha", site=hill.id)
        unit.log("staff bound to a site", "staff:asha", site=hill.code)
    with ward.store.read() as session:
        actor = staff_by_login(session, "asha").actor
    assert actor.site == hill.id
    with ward.store.write(actor, ward.now) as unit:
        assert patient_by_code(unit.session, "K-1") is None


@pytest.mark.parametrize(
    ("site", "code"),
    [
        (Site(0, "TOO LONG!", "x"), "site.code"),
        (Site(0, "MAIN", "x"), "site.code"),
        (Site(0, "X", " "), "site.name"),
        (Site(99, "X", "x"), "site.unknown"),
        (Site(0, "X", "x", calendar="[]"), "json.object"),
    ],
)
def test_a_site_that_can_not_be_is_refused(ward, site, code):
    with pytest.raises(FollowupError) as caught, ward.store.write(SYSTEM, ward.now) as unit:
        put_site(unit, site)
    assert caught.value.code == code
