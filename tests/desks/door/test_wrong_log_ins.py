"""A stranger who guesses: he locks nobody out, learns no name, stops no signature, and takes no memory.

NIST SP 800-63B, 5.2.2 (limits on wrong log-ins) and OWASP ASVS 5.0, 6.3.1 (against guessing, without
letting anybody lock others out).
"""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from argon2 import PasswordHasher
from httpx2 import Client
from one_app import browser_of
from sqlalchemy import text

from followup.care.passwords import MOST_AT_ONCE, MOST_WAITING, Passwords
from followup.errors import FollowupError
from followup.records.house import wrong_logins
from followup.records.house.staff import change_staff, open_session, staff_by_login
from followup.records.house.wrong_logins import (
    MOST_WIDE,
    MOST_WRONG,
    forget_old_wrong_logins,
    forget_wrong_logins,
    note_wrong_login,
    seconds_to_wait,
)
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"
HERE, THERE = "192.0.2.1", "198.51.100.7"
SOON = timedelta(seconds=20)


class _Counted(PasswordHasher):
    """Cheap hashes that know how many are at work, and how many there were."""

    def __init__(self, takes: float = 0.0) -> None:
        super().__init__(time_cost=1, memory_cost=64, parallelism=1)
        self.at_work, self.most, self.done, self.takes = 0, 0, 0, takes
        self._lock = threading.Lock()

    def verify(self, hash, password):
        with self._lock:
            self.at_work, self.done = self.at_work + 1, self.done + 1
            self.most = max(self.most, self.at_work)
        try:
            time.sleep(self.takes)
            return super().verify(hash, password)
        finally:
            with self._lock:
                self.at_work -= 1


def _from(house, address: str, **headers: str) -> Client:
    browser = browser_of(house._app, address=address)
    browser.headers.update(headers)
    return browser


def _try(browser, login="surgeon", password="not this one"):
    return browser.post("/log-in", data={"login": login, "password": password})


def _guess(house, browser, login="surgeon", times=MOST_WRONG):
    """Wrong ones, each after the wait that the one before asks for."""
    for _ in range(times):
        assert _try(browser, login).status_code == 401
        house.clock.now += SOON


def _actions(house) -> list[str]:
    with house.store.read() as session:
        return list(session.execute(text("SELECT action FROM journal ORDER BY number")).scalars())


def test_five_wrong_ones_lock_the_name_there_and_nowhere_else(house):
    _guess(house, _from(house, HERE))
    locked = _try(_from(house, HERE), password=PASSWORD)
    assert locked.status_code == 429
    assert "wait 15 minutes" in locked.text
    assert _try(_from(house, THERE), password=PASSWORD).status_code == 303
    assert _try(_from(house, HERE), "counsellor", PASSWORD).status_code == 303


def test_the_lock_ends_after_a_quarter_of_an_hour(house):
    _guess(house, _from(house, HERE))
    house.clock.now += wrong_logins.LOCK - SOON - timedelta(seconds=1)
    assert "wait 1 second," in _try(_from(house, HERE), password=PASSWORD).text
    house.clock.now += timedelta(seconds=1)
    assert _try(_from(house, HERE), password=PASSWORD).status_code == 303


def test_the_third_and_fourth_wrong_one_ask_for_a_wait_that_grows(house):
    browser = _from(house, HERE)
    waits = []
    for _ in range(4):
        assert _try(browser).status_code == 401
        with house.store.read() as session:
            waits.append(seconds_to_wait(session, login="surgeon", origin=HERE, now=house.clock.now))
        house.clock.now += timedelta(seconds=waits[-1])
    assert waits == [0, 0, 5, 20]


def test_a_right_password_begins_the_count_anew(house):
    browser = _from(house, HERE)
    for _ in range(3):
        _guess(house, browser, times=MOST_WRONG - 1)
        assert _try(browser, password=PASSWORD).status_code == 303


def test_a_name_that_nobody_has_is_locked_in_the_same_words_after_the_same_work(house, words_of):
    hasher = _Counted()
    house._app.desk = replace(house.desk, passwords=Passwords(hasher))
    said, work = [], []
    for login in ("surgeon", "nobody"):
        before, browser = hasher.done, _from(house, HERE)
        answers = [_try(browser, login) for _ in range(3)]
        house.clock.now += SOON
        answers += [_try(browser, login), _try(browser, login)]
        house.clock.now += SOON
        answers += [_try(browser, login), _try(browser, login)]
        said.append([(one.status_code, words_of(one.text)) for one in answers])
        work.append(hasher.done - before)
    assert said[0] == said[1]
    assert [status for status, _ in said[0]] == [401, 401, 401, 401, 429, 401, 429]
    assert work == [MOST_WRONG, MOST_WRONG]


def test_whoever_is_locked_out_is_refused_before_any_hash_is_computed(house):
    hasher = _Counted()
    house._app.desk = replace(house.desk, passwords=Passwords(hasher))
    _guess(house, _from(house, HERE))
    done = hasher.done
    for _ in range(50):
        assert _try(_from(house, HERE), password=PASSWORD).status_code == 429
    assert hasher.done == done


def test_of_many_guesses_at_once_no_more_count_than_one_by_one(house):
    """The right one among twenty at once opens nothing once five wrong ones are counted."""
    for _ in range(MOST_WRONG):
        with house.store.upkeep(house.clock.now) as unit:
            note_wrong_login(unit, login="surgeon", origin=HERE)
    with house.store.read() as session:
        person = staff_by_login(session, "surgeon")
    with pytest.raises(FollowupError) as caught, house.store.write(SYSTEM, house.clock.now) as unit:
        open_session(unit, login="surgeon", lifetime=SOON, checked=person.password_hash, origin=HERE)
    assert caught.value.code == "staff.locked"


def test_a_signature_goes_on_while_a_stranger_guesses(house):
    surgeon = house.log_in("surgeon", PASSWORD)
    for address in ("testclient", HERE, THERE):
        _guess(house, _from(house, address))
    page = {"hash": house.desk.protocol.hash, "read": "yes", "password": PASSWORD}
    assert surgeon.post("/protocol/sign", data=page).status_code == 303


def test_five_wrong_passwords_at_a_signature_end_that_session_and_nothing_else(house):
    browser, other = house.log_in("surgeon", PASSWORD), house.log_in("surgeon", PASSWORD)
    page = {"hash": house.desk.protocol.hash, "read": "yes"}
    for _ in range(MOST_WRONG):
        assert browser.post("/protocol/sign", data={**page, "password": "wrong"}).status_code == 403
    assert browser.get("/waiting").status_code == 303
    assert browser.post("/protocol/sign", data={**page, "password": PASSWORD}).status_code == 401
    with house.store.read() as session:
        assert session.execute(text("SELECT count(*) FROM protocol_signature")).scalar() == 0
    assert _actions(house).count("logged out after wrong passwords") == 1
    assert other.get("/waiting").status_code == 200
    assert house.log_in("surgeon", PASSWORD).get("/waiting").status_code == 200


def test_a_right_password_at_a_signature_begins_that_count_anew(house):
    browser = house.log_in("surgeon", PASSWORD)

    def wrong_ones():
        for _ in range(MOST_WRONG - 1):
            assert browser.post("/password", data={"old": "wrong", "new": "x"}).status_code == 422

    wrong_ones()
    page = {"hash": house.desk.protocol.hash, "read": "yes", "password": PASSWORD}
    assert browser.post("/protocol/sign", data=page).status_code == 303
    wrong_ones()
    assert browser.get("/waiting").status_code == 200


def test_one_origin_over_all_names_is_slowed_and_never_locked(house):
    known = _from(house, HERE)
    assert _try(known, "counsellor", PASSWORD).status_code == 303
    for number in range(MOST_WIDE + 3):
        with house.store.upkeep(house.clock.now) as unit:
            note_wrong_login(unit, login=f"guess-{number}", origin=HERE)
    slowed = _try(_from(house, HERE), "surgeon", PASSWORD)
    assert slowed.status_code == 429
    assert "wait 4 seconds" in slowed.text
    # Whoever logged in from there before, and everybody elsewhere, notices nothing.
    assert _try(_from(house, HERE), "counsellor", PASSWORD).status_code == 303
    assert _try(_from(house, THERE), "surgeon", PASSWORD).status_code == 303
    house.clock.now += timedelta(seconds=4)
    assert _try(_from(house, HERE), "surgeon", PASSWORD).status_code == 303


def test_one_name_from_everywhere_is_slowed_and_never_locked(house):
    assert _try(_from(house, HERE), password=PASSWORD).status_code == 303
    for number in range(3 * MOST_WIDE):
        with house.store.upkeep(house.clock.now) as unit:
            note_wrong_login(unit, login="surgeon", origin=f"2001:db8:0:{number:x}::/64")
    assert "wait 60 seconds" in _try(_from(house, THERE), password=PASSWORD).text
    assert _try(_from(house, HERE), password=PASSWORD).status_code == 303
    house.clock.now += timedelta(minutes=1)
    assert _try(_from(house, THERE), password=PASSWORD).status_code == 303


def test_the_journal_tells_of_a_lock_once_and_of_no_name_that_nobody_has(house):
    before = len(_actions(house))
    for login in ("surgeon", "nobody"):
        _guess(house, _from(house, HERE), login)
    assert _actions(house)[before:] == ["log-in locked"]
    for number in range(5 * MOST_WIDE):
        with house.store.upkeep(house.clock.now) as unit:
            note_wrong_login(unit, login="surgeon", origin=f"192.0.2.{number // MOST_WRONG}")
    assert len(_actions(house)) - before <= 1 + MOST_WIDE // MOST_WRONG


def test_the_count_stays_small_whoever_guesses(house, monkeypatch):
    monkeypatch.setattr(wrong_logins, "MOST_ROWS", 60)
    for number in range(200):
        house.clock.now += timedelta(seconds=1)
        with house.store.upkeep(house.clock.now) as unit:
            note_wrong_login(unit, login=f"guess-{number}", origin=f"10.0.0.{number}")
    with house.store.read() as session:
        rows = session.execute(text("SELECT count(*) FROM wrong_login")).scalar()
        last = seconds_to_wait(session, login="guess-199", origin="10.0.0.199", now=house.clock.now)
    assert (rows <= 62, last) == (True, 0)


def test_the_daily_work_forgets_what_is_older_than_a_day(house):
    _guess(house, _from(house, HERE))
    with house.store.upkeep(house.clock.now + timedelta(hours=25)) as unit:
        forget_old_wrong_logins(unit)
        assert unit.session.execute(text("SELECT count(*) FROM wrong_login")).scalar() == 0


def test_no_name_stands_in_the_count_as_it_was_typed(house):
    _try(_from(house, HERE), login="my whole secret password")
    with house.store.read() as session:
        rows = session.execute(text("SELECT who, origin FROM wrong_login")).all()
    assert len(rows) == 3
    assert "secret" not in str(rows)


@pytest.mark.parametrize("free", ["new password", "unlocked"])
def test_a_new_password_or_the_hand_of_the_manager_frees_the_name_everywhere(house, free):
    _guess(house, _from(house, HERE))
    with house.store.write(SYSTEM, house.clock.now) as unit:
        if free == "unlocked":
            forget_wrong_logins(unit, login="Surgeon ")
        else:
            hashed = house.desk.passwords.hash(PASSWORD)
            change_staff(unit, login="surgeon", password_hash=hashed)
    assert _try(_from(house, HERE), password=PASSWORD).status_code == 303


# What the client says of itself, behind which proxy, and whom it counts as.
@pytest.mark.parametrize(
    ("proxy", "peer", "said", "counted"),
    [
        ("", HERE, "203.0.113.5", HERE),
        ("127.0.0.1", HERE, "203.0.113.5", HERE),
        ("127.0.0.1", "127.0.0.1", "203.0.113.5", "203.0.113.5"),
        ("127.0.0.1", "127.0.0.1", "203.0.113.9, 203.0.113.5", "203.0.113.5"),
        ("127.0.0.1", "::ffff:127.0.0.1", "203.0.113.5", "203.0.113.5"),
        ("127.0.0.1", "127.0.0.1", None, "127.0.0.1"),
        ("", "2001:db8:1:2:3:4:5:6", None, "2001:db8:1:2::/64"),
        ("::1", "::1", "2001:db8:1:2:ffff::9", "2001:db8:1:2::/64"),
        ("127.0.0.1", "127.0.0.1", "unknown", "unknown"),
    ],
)
def test_a_request_counts_by_the_address_that_nobody_can_choose(house, proxy, peer, said, counted):
    house._app.desk = replace(house.desk, trusted_proxy=proxy)
    headers = {} if said is None else {"x-forwarded-for": said}
    _try(_from(house, peer, **headers))
    with house.store.read() as session:
        found = session.execute(text("SELECT DISTINCT origin FROM wrong_login WHERE origin <> '*'")).scalars()
        assert list(found) == [counted]


def test_twenty_loops_at_once_hold_two_hashes_and_the_rest_is_refused_cheaply(house):
    hasher = _Counted(takes=0.05)
    passwords = Passwords(hasher)

    def one(_):
        try:
            return passwords.matches(None, "guess", stranger=True)
        except FollowupError as refused:
            return refused.code

    with ThreadPoolExecutor(20) as pool:
        answers = list(pool.map(one, range(40)))
    assert hasher.most == MOST_AT_ONCE
    assert set(answers) == {False, "login.busy"}
    assert answers.count(False) >= MOST_AT_ONCE + MOST_WAITING


def test_whoever_is_logged_in_gets_a_turn_while_strangers_are_refused(house):
    hasher = _Counted(takes=0.05)
    passwords = Passwords(hasher)
    stored, stop = passwords.hash(PASSWORD), threading.Event()
    refused = []

    def stranger():
        while not stop.is_set():
            try:
                passwords.matches(None, "guess", stranger=True)
            except FollowupError as exc:
                refused.append(exc.code)
                time.sleep(0.001)

    with ThreadPoolExecutor(20) as pool:
        for _ in range(12):
            pool.submit(stranger)
        try:
            assert all(passwords.matches(stored, PASSWORD) for _ in range(3))
        finally:
            stop.set()
    assert refused
    assert hasher.most == MOST_AT_ONCE


def test_the_page_says_in_words_that_too_many_log_in(house, monkeypatch):
    passwords = Passwords(_Counted())
    monkeypatch.setattr(passwords._turns, "_free", 0)
    monkeypatch.setattr("followup.care.passwords.MOST_WAITING", 0)
    house._app.desk = replace(house.desk, passwords=passwords)
    answer = _try(_from(house, HERE), password=PASSWORD)
    assert answer.status_code == 503
    assert "too many are logging in" in answer.text


def test_a_right_log_in_stores_an_old_hash_at_the_cost_of_today_and_a_wrong_one_does_not(house):
    old = PasswordHasher(time_cost=2, memory_cost=32, parallelism=1).hash(PASSWORD)
    with house.store.write(SYSTEM, house.clock.now) as unit:
        change_staff(unit, login="surgeon", password_hash=old)

    def stored():
        with house.store.read() as session:
            return staff_by_login(session, "surgeon").password_hash

    assert _try(_from(house, HERE)).status_code == 401
    assert stored() == old
    assert _try(_from(house, HERE), password=PASSWORD).status_code == 303
    assert stored().startswith("$argon2id$v=19$m=64,t=1,p=1$")
    today = stored()
    assert _try(_from(house, HERE), password=PASSWORD).status_code == 303
    assert stored() == today
