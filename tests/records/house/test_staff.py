"""Staff, log-ins, the clinic's own data, and what recurring jobs know of each other."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import text

from followup.errors import FollowupError
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import (
    add_staff,
    all_staff,
    change_staff,
    end_session,
    find_session,
    open_session,
    staff_by_login,
    touch_session,
)
from followup.records.house.wrong_logins import LOCK, MOST_WRONG, note_wrong_login, seconds_to_wait
from followup.records.jobs.upkeep import (
    claim_daily_run,
    daily_outcome,
    finish_daily_run,
    heartbeat,
    note_heartbeat,
    release_lease,
    take_lease,
)
from followup.records.tables import LoginSessionRow
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
IDLE, LIFE = timedelta(minutes=30), timedelta(hours=10)


@pytest.fixture
def house(store):
    with store.write(SYSTEM, NOW) as unit:
        add_staff(unit, login=" Sen ", name="Dr Sen", roles=["surgeon"], password_hash="h", registration="R")
    return store


def _open(house, now=NOW) -> str:
    with house.write(SYSTEM, now) as unit:
        return open_session(unit, login="sen", lifetime=LIFE)


def _find(house, token, now):
    with house.read() as session:
        return find_session(session, token=token, now=now, idle=IDLE)


def _code(store, now, use_case, **given) -> str:
    with pytest.raises(FollowupError) as caught, store.write(SYSTEM, now) as unit:
        use_case(unit, **given)
    assert "\n" not in caught.value.line
    return caught.value.code


def test_a_member_of_staff_is_found_whatever_the_case_and_shows_no_hash(house):
    with house.read() as session:
        found = staff_by_login(session, "SEN ")
        assert [s.login for s in all_staff(session)] == ["sen"]
        assert staff_by_login(session, "rao") is None
    assert (found.name, found.roles, found.actor.registration) == ("Dr Sen", {"surgeon"}, "R")
    assert "password_hash" not in repr(found)


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"login": "SEN"}, "staff.login"),
        ({"login": "  "}, "staff.login"),
        ({"login": "\uff33\uff25\uff2e"}, "staff.login"),
        ({"login": "s\u24d4n"}, "staff.login"),
        ({"login": "se\u200bn"}, "staff.login"),
        ({"login": "\uff33ystem"}, "staff.login"),
        ({"roles": ["king"]}, "staff.roles"),
        ({"roles": []}, "staff.roles"),
    ],
)
def test_staff_with_a_taken_name_or_without_a_known_role_is_refused(house, given, code):
    usual = {"login": "rao", "name": "Rao", "roles": ["surgeon"], "password_hash": "h"}
    assert _code(house, NOW, add_staff, **{**usual, **given}) == code


def test_a_log_in_name_has_one_spelling_whatever_letters_it_is_typed_in(house):
    """Compatible letters are one (Unicode, UAX #15, NFKC), and so are large and small ones."""
    with house.read() as session:
        for spelt in ("sen", " SEN", "\uff33\uff45\uff4e", "\u24c8en", "\U0001d5cc\U0001d5be\U0001d5c7"):
            assert staff_by_login(session, spelt).login == "sen", spelt
        assert staff_by_login(session, "s\u0435n") is None, "a letter of another alphabet"


def test_a_name_that_was_stored_in_another_spelling_is_still_found_and_had_by_nobody_else(house):
    wide = "\uff52\uff41\uff4f"
    with house.write(SYSTEM, NOW) as unit:
        add_staff(unit, login="old", name="Rao", roles=["reception"], password_hash="h")
        unit.session.execute(text("UPDATE staff SET login = :wide WHERE login = 'old'"), {"wide": wide})
    with house.read() as session:
        assert staff_by_login(session, f" {wide} ").name == "Rao"
    usual = {"name": "Rao", "roles": ["reception"], "password_hash": "h"}
    for spelt in ("rao", wide):
        assert _code(house, NOW, add_staff, login=spelt, **usual) == "staff.login"


def test_a_log_in_lasts_until_it_is_idle_or_old(house):
    token = _open(house)
    tick = timedelta(seconds=1)
    assert _find(house, token, NOW + IDLE - tick).staff.login == "sen"
    assert _find(house, token, NOW + IDLE) is None
    for used in range(1, 40):
        with house.upkeep(NOW + used * (IDLE / 2)) as unit:
            touch_session(unit, token=token)
    assert _find(house, token, NOW + LIFE - tick) is not None
    assert _find(house, token, NOW + LIFE) is None


def test_the_opaque_id_itself_is_not_in_the_store(house):
    token = _open(house)
    with house.read() as session:
        assert session.get(LoginSessionRow, token) is None
    assert len(token) >= 43
    assert token != _open(house)
    assert _find(house, token + "x", NOW) is None


def test_after_log_out_the_id_is_worthless(house):
    token, other = _open(house), _open(house)
    with house.upkeep(NOW) as unit:
        end_session(unit, token=token)
        touch_session(unit, token=token)
    assert _find(house, token, NOW) is None
    assert _find(house, other, NOW) is not None


def test_a_change_of_staff_logs_the_person_out_everywhere(house):
    token = _open(house)
    with house.write(SYSTEM, NOW) as unit:
        change_staff(unit, login="sen", roles=["manager"])
    assert _find(house, token, NOW) is None


def test_who_is_switched_off_can_not_log_in(house):
    with house.write(SYSTEM, NOW) as unit:
        change_staff(unit, login="sen", active=False)
    assert _code(house, NOW, open_session, login="sen", lifetime=LIFE) == "staff.inactive"


def test_too_many_wrong_passwords_lock_the_log_in_for_a_while(house):
    for _ in range(MOST_WRONG):
        with house.upkeep(NOW) as unit:
            note_wrong_login(unit, login="sen", origin="")
    tick = timedelta(seconds=1)
    assert _code(house, NOW + LOCK - tick, open_session, login="sen", lifetime=LIFE) == "staff.locked"
    assert _open(house, NOW + LOCK)


def test_a_right_password_sets_the_count_back(house):
    for _ in range(MOST_WRONG - 1):
        with house.upkeep(NOW) as unit:
            note_wrong_login(unit, login="sen", origin="")
    _open(house)
    with house.upkeep(NOW) as unit:
        note_wrong_login(unit, login="sen", origin="")
    with house.read() as session:
        assert seconds_to_wait(session, login="sen", origin="", now=NOW) == 0


def test_an_unknown_person_is_refused(house):
    assert _code(house, NOW, change_staff, login="nobody") == "staff.unknown"


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"zone": "Mars/Olympus"}, "clinic.zone"),
        ({"code": "rbe"}, "clinic.code"),
        ({"code": ""}, "clinic.code"),
        ({"code": "RBE-1"}, "clinic.code"),
        ({"code": "ABCDEFGHI"}, "clinic.code"),
        ({"name": " "}, "clinic.name"),
        ({"phone_night": ""}, "clinic.phone"),
        ({"sheet_languages": ()}, "clinic.languages"),
        ({"calendar": "[]"}, "json.object"),
        ({"calendar": "{"}, "json.syntax"),
        ({"calendar": '{"holidays": ["soon"]}'}, "calendar.field"),
    ],
)
def test_a_clinic_that_can_not_be_right_is_refused_and_the_old_data_stay(store, change, code):
    with store.read() as session:
        before = get_clinic(session)
    assert _code(store, NOW, put_clinic, clinic=replace(before, **change)) == code
    with store.read() as session:
        assert get_clinic(session) == before


def test_a_store_without_a_clinic_says_so(address, open_store):
    with open_store(address).read() as session, pytest.raises(FollowupError) as caught:
        get_clinic(session)
    assert caught.value.code == "clinic.missing"


# What recurring jobs know of each other


def test_a_lease_is_held_by_one_and_passes_on_when_it_ends(store):
    def take(owner, after):
        with store.upkeep(NOW + timedelta(seconds=after)) as unit:
            return take_lease(unit, name="sweep", owner=owner, lifetime=timedelta(seconds=100))

    assert [take("a", 0), take("b", 1), take("a", 60), take("b", 120), take("b", 160)] == [
        True,
        False,
        True,
        False,
        True,
    ]
    with store.upkeep(NOW + timedelta(seconds=161)) as unit:
        release_lease(unit, name="sweep", owner="a")
    assert not take("a", 162)
    with store.upkeep(NOW + timedelta(seconds=163)) as unit:
        release_lease(unit, name="sweep", owner="b")
    assert take("a", 164)


def test_of_many_who_claim_a_days_job_at_once_one_gets_it(store):
    def claim(_):
        with store.upkeep(NOW) as unit:
            return claim_daily_run(unit, job="check", day=NOW.date())

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(claim, range(12))).count(True) == 1
    with store.upkeep(NOW) as unit:
        finish_daily_run(unit, job="check", day=NOW.date(), outcome="fine")
    with store.read() as session:
        assert daily_outcome(session, job="check", day=NOW.date()) == "fine"
        assert daily_outcome(session, job="other", day=NOW.date()) is None


def test_a_heartbeat_keeps_the_last_sign_of_life(store):
    for seconds, ok in ((0, True), (60, False)):
        with store.upkeep(NOW + timedelta(seconds=seconds)) as unit:
            note_heartbeat(unit, name="sweep", ok=ok, rows=seconds, message="m")
    with store.read() as session:
        beat = heartbeat(session, "sweep")
        assert heartbeat(session, "other") is None
    assert (beat.at, beat.ok, beat.rows) == (NOW + timedelta(seconds=60), False, 60)
