"""The second factor at the log-in: RFC 6238 through the program, each code once, the key never told again.

OWASP ASVS 5.0, 6.5 and 6.6 (one-time codes), NIST SP 800-63B, 3.1.4.
"""

from __future__ import annotations

from base64 import b32encode
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from at_once_second_factor import KEY, code_now, person_of, with_second_factor
from pyotp import TOTP
from sqlalchemy import text

from followup.care.house.second_factor import step_of
from followup.recall.codes.keyring import Keyring
from followup.recall.codes.sealing import seal, unseal
from followup.records.house.second_factor import take_off_second_factor
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"
STEP = timedelta(seconds=30)
WRONG = "000000"


def _first_step(house, login="manager", password=PASSWORD):
    return house.browser().post("/log-in", data={"login": login, "password": password})


def _second_step(house, form_of, code, page=None, **more):
    page = page or _first_step(house)
    sent = {name: values[0] for name, values in form_of(page.text, "/log-in/code").items()}
    return house.browser().post("/log-in/code", data=sent | {"code": code} | more)


# RFC 6238, appendix B, SHA-1: of its eight digits the last six.
@pytest.mark.parametrize(
    ("seconds", "code"),
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_the_codes_are_those_of_rfc_6238(seconds, code):
    assert b32encode(b"12345678901234567890").decode() == KEY
    assert step_of(KEY, code[-6:], datetime.fromtimestamp(seconds, UTC)) == seconds // 30
    wrong = f"{(int(code[-6:]) + 1) % 1_000_000:06}"
    assert step_of(KEY, wrong, datetime.fromtimestamp(seconds, UTC)) is None


def test_whoever_sets_up_a_second_factor_needs_its_code_from_the_next_log_in_on(house, form_of, words_of):
    browser, other = house.log_in("manager", PASSWORD), house.log_in("manager", PASSWORD)
    page = browser.post("/password/second-factor", data={"password": PASSWORD})
    assert page.status_code == 200
    assert "<svg" in page.text
    key = page.text.partition('<bdi dir="ltr">')[2].partition("</bdi>")[0].replace(" ", "")
    assert len(key) == 32
    # It does not count before a code of it was given.
    assert _first_step(house).status_code == 303
    assert browser.post("/password/second-factor/first", data={"code": WRONG}).status_code == 401
    code = TOTP(key).at(house.clock.now)
    done = browser.post("/password/second-factor/first", data={"code": f"{code[:3]} {code[3:]}"})
    assert done.headers["location"] == "/password"
    assert "Needed at every log-in of yours" in words_of(browser.get("/password").text)
    # Whoever was logged in elsewhere by the password alone is not any more.
    assert other.get("/staff").status_code == 303
    house.clock.now += STEP
    asked = _first_step(house)
    assert (asked.status_code, "set-cookie" in asked.headers) == (200, False)
    entered = _second_step(house, form_of, TOTP(key).at(house.clock.now), asked)
    assert entered.status_code == 303
    assert entered.cookies["followup"]


def test_a_stranger_learns_from_no_answer_that_a_name_has_one(house, words_of):
    with_second_factor(house, "manager")
    said = {words_of(_first_step(house, login, "wrong").text) for login in ("manager", "surgeon", "nobody")}
    assert len(said) == 1


def test_each_code_opens_one_log_in(house, form_of):
    with_second_factor(house, "manager")
    code = code_now(house)
    assert _second_step(house, form_of, code).status_code == 303
    assert _second_step(house, form_of, code).status_code == 401
    house.clock.now += STEP
    # The one before has not been used, yet it is older than the last that was.
    assert _second_step(house, form_of, code).status_code == 401
    assert _second_step(house, form_of, code_now(house)).status_code == 303


@pytest.mark.parametrize(("steps", "status"), [(-2, 401), (-1, 303), (0, 303), (1, 303), (2, 401)])
def test_a_clock_may_be_one_step_off(house, form_of, steps, status):
    with_second_factor(house, "manager")
    code = TOTP(KEY).at(house.clock.now + steps * STEP)
    assert _second_step(house, form_of, code).status_code == status


def test_wrong_codes_count_as_wrong_log_ins_and_lock(house, form_of):
    with_second_factor(house, "manager")
    page = _first_step(house)
    for _ in range(5):
        assert _second_step(house, form_of, WRONG, page).status_code == 401
        house.clock.now += timedelta(seconds=20)
    assert _second_step(house, form_of, code_now(house), page).status_code == 429
    assert _first_step(house).status_code == 429


@pytest.mark.parametrize("how", ["late", "another person", "made up", "empty", "password changed", "used"])
def test_the_ticket_between_the_steps_is_short_lived_of_one_person_and_for_one_log_in(house, form_of, how):
    for login in ("manager", "surgeon"):
        with_second_factor(house, login)
    page, more = _first_step(house), {}
    if how == "late":
        house.clock.now += timedelta(minutes=5, seconds=1)
    elif how == "another person":
        more = {"login": "surgeon"}
    elif how == "made up":
        until = int((house.clock.now + timedelta(minutes=4)).timestamp())
        more = {"ticket": f"{until}.{'0' * 64}"}
    elif how == "empty":
        more = {"ticket": ""}
    elif how == "password changed":
        with house.store.engine.begin() as connection:
            connection.execute(text("UPDATE staff SET password_hash = 'x' WHERE login = 'manager'"))
    else:
        assert _second_step(house, form_of, code_now(house), page).status_code == 303
        house.clock.now += STEP
    refused = _second_step(house, form_of, code_now(house), page, **more)
    assert refused.status_code == 401
    assert "set-cookie" not in refused.headers
    assert "took too long" in refused.text


def test_what_was_typed_before_the_session_ended_comes_through_both_steps(house, form_of):
    with_second_factor(house, "counsellor")
    sent = {"login": "counsellor", "password": PASSWORD, "then": "/operations/paste", "kept.text": "abc"}
    page = house.browser().post("/log-in", data=sent)
    offered = _second_step(house, form_of, code_now(house), page)
    assert form_of(offered.text, "/operations/paste") == {"text": ["abc"]}


def test_a_program_sends_the_code_along(house):
    with_second_factor(house, "manager")
    whole = {"login": "manager", "password": PASSWORD}
    without = house.browser().post("/api/session", json=whole)
    assert (without.status_code, without.json()["code"]) == (401, "login.code")
    assert house.browser().post("/api/session", json={**whole, "code": WRONG}).status_code == 401
    browser = house.browser()
    entered = browser.post("/api/session", json={**whole, "code": code_now(house)})
    assert entered.status_code == 201
    assert browser.get("/api/session").json()["second_factor"] is True


def test_a_program_sets_one_up_and_takes_it_off(house):
    browser = house.log_in("surgeon", PASSWORD)
    assert browser.post("/api/session/second-factor", json={"password": "wrong"}).status_code == 403
    begun = browser.post("/api/session/second-factor", json={"password": PASSWORD}).json()
    assert begun["key"] in begun["address"]
    assert begun["address"].startswith("otpauth://totp/")
    code = TOTP(begun["key"]).at(house.clock.now)
    assert browser.put("/api/session/second-factor", json={"code": code}).status_code == 204
    again = browser.post("/api/session/second-factor", json={"password": PASSWORD})
    assert (again.status_code, again.json()["code"]) == (422, "second.set")
    house.clock.now += STEP
    off = {"password": PASSWORD, "code": TOTP(begun["key"]).at(house.clock.now)}
    refused = browser.post("/api/session/second-factor/off", json={**off, "password": "wrong"})
    assert refused.status_code == 403
    assert browser.post("/api/session/second-factor/off", json={**off, "code": WRONG}).status_code == 401
    assert browser.post("/api/session/second-factor/off", json=off).status_code == 204
    assert _first_step(house, "surgeon").status_code == 303


def test_the_owner_takes_it_off_on_the_page_and_the_computer_itself_does_without(house):
    browser = house.log_in("manager", PASSWORD)
    with_second_factor(house, "manager")
    off = {"password": PASSWORD, "code": code_now(house)}
    assert browser.post("/password/second-factor/off", data={**off, "code": WRONG}).status_code == 401
    assert browser.post("/password/second-factor/off", data=off).status_code == 303
    with_second_factor(house, "manager")
    with house.store.write(SYSTEM, house.clock.now) as unit:
        take_off_second_factor(unit, login="manager")
    assert _first_step(house).status_code == 303


def test_the_key_stands_nowhere_but_sealed(house):
    browser = house.log_in("manager", PASSWORD)
    key = browser.post("/api/session/second-factor", json={"password": PASSWORD}).json()["key"]
    browser.put("/api/session/second-factor", json={"code": TOTP(key).at(house.clock.now)})
    with house.store.read() as session:
        tables = session.execute(text("SELECT name FROM sqlite_master WHERE type = 'table'")).scalars().all()
        held = "".join(str(session.execute(text(f"SELECT * FROM {name}")).all()) for name in tables)
        journal = str(session.execute(text("SELECT details FROM journal")).all())
    assert key not in held
    assert person_of(house, "manager").second_key not in journal
    told = [browser.get(path).text for path in ("/api/session", "/api/staff", "/staff", "/password")]
    assert not any(key in one or person_of(house, "manager").second_key in one for one in told)


def test_a_sealed_secret_opens_with_its_ring_for_what_it_is_and_unchanged():
    ring, secret = Keyring.fresh(), bytes(range(20))
    sealed = seal(secret, ring, of="one")
    assert unseal(sealed, ring, of="one") == secret
    assert unseal(sealed, ring.rotated(), of="one") == secret
    assert seal(secret, ring, of="one") != sealed
    assert unseal(sealed, ring, of="other") is None
    assert unseal(sealed, Keyring.fresh(), of="one") is None
    name, _, body = sealed.partition(".")
    for at in range(0, len(body), 7):
        changed = body[:at] + ("A" if body[at] != "A" else "B") + body[at + 1 :]
        assert unseal(f"{name}.{changed}", ring, of="one") is None
    for junk in ("", ".", name, f"{name}.", f"{name}.é", f"{name}.AAAA"):
        assert unseal(junk, ring, of="one") is None


def test_with_another_key_file_the_log_in_says_what_to_do(house, form_of):
    with_second_factor(house, "manager")
    house._app.desk = replace(house.desk, keyring=Keyring.fresh())
    refused = _second_step(house, form_of, code_now(house))
    assert "key file" in refused.text
    assert "set-cookie" not in refused.headers
