"""Log-in, cookie, cross-site requests, headers and sizes, each by its table."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import text

from followup.care.passwords import Passwords
from followup.desks.door.hand import Desk
from followup.desks.door.origin import is_cross_site
from followup.errors import FollowupError

PASSWORD = "a long enough password"
HOST = "clinic.test"


@pytest.mark.parametrize(
    ("method", "headers", "refused"),
    [
        # W3C Fetch Metadata Request Headers, section 2.3: the four values of Sec-Fetch-Site.
        ("POST", {"sec-fetch-site": "same-origin"}, False),
        ("POST", {"sec-fetch-site": "none"}, False),
        ("POST", {"sec-fetch-site": "same-site"}, True),
        ("POST", {"sec-fetch-site": "cross-site"}, True),
        ("POST", {"sec-fetch-site": "cross-site", "origin": "http://clinic.test"}, True),
        # RFC 6454: Origin is scheme, host and port; "null" is an opaque origin.
        ("POST", {"origin": "http://clinic.test"}, False),
        ("POST", {"origin": "http://clinic.test:8470"}, True),
        ("POST", {"origin": "http://elsewhere.test"}, True),
        ("POST", {"origin": "null"}, True),
        ("POST", {}, True),
        ("DELETE", {}, True),
        ("GET", {"sec-fetch-site": "cross-site"}, False),
        ("HEAD", {}, False),
    ],
)
def test_a_write_must_come_from_our_own_pages(method, headers, refused):
    assert is_cross_site(method, {"host": HOST, **headers}) is refused


def test_over_https_the_cookie_is_bound_to_the_host(house):
    secure = Desk(
        house.store, house.desk.protocol, house.desk.keyring, house.clock, house.desk.passwords, True
    )
    house.desk = secure
    house.base_url = "https://clinic.test"
    house.__post_init__()
    browser = house.browser()
    answer = browser.post("/log-in", data={"login": "surgeon", "password": PASSWORD})
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-")
    assert "domain" not in cookie.lower()
    assert "; Secure" in cookie
    assert "max-age=31536000" in answer.headers["strict-transport-security"]
    assert browser.get("/").status_code == 303


def test_the_store_never_holds_what_stands_in_the_cookie(house):
    browser = house.log_in("surgeon", PASSWORD)
    token = browser.cookies["followup"]
    with house.store.read() as session:
        ids = [row[0] for row in session.execute(text("SELECT id FROM login_session"))]
    assert len(ids) == 1
    assert token not in ids[0]


@pytest.mark.parametrize(
    ("away", "let_in"),
    [(timedelta(minutes=29, seconds=59), True), (timedelta(minutes=30), False), (timedelta(hours=13), False)],
)
def test_a_log_in_ends_after_half_an_hour_without_use(house, away, let_in):
    browser = house.log_in("surgeon", PASSWORD)
    house.clock.now += away
    assert (browser.get("/waiting").status_code == 200) is let_in


def test_the_same_words_refuse_an_unknown_name_and_a_wrong_password(house, words_of):
    unknown = house.browser().post("/log-in", data={"login": "nobody", "password": PASSWORD})
    wrong = house.browser().post("/log-in", data={"login": "surgeon", "password": "not the password"})
    assert (unknown.status_code, wrong.status_code) == (401, 401)
    assert words_of(unknown.text) == words_of(wrong.text)


def test_an_unknown_name_costs_as_much_checking_as_a_known_one():
    class Counting:
        checks = 0

        def hash(self, _password):
            return "$argon2id$stored"

        def verify(self, _stored, _password):
            Counting.checks += 1
            return True

    passwords = Passwords(Counting())  # type: ignore[arg-type]
    assert not passwords.matches(None, "x")
    assert passwords.matches("$argon2id$stored", "x")
    assert Counting.checks == 2


def test_passwords_are_stored_as_argon2id():
    # RFC 9106, section 3.1 and the PHC string format: the variant stands first.
    assert Passwords().hash("a long enough password").startswith("$argon2id$v=19$")


@pytest.mark.parametrize("password", ["short", "x" * 11, "x" * 201])
def test_a_password_too_short_or_too_long_is_refused(password):
    with pytest.raises(FollowupError, match="12 to 200"):
        Passwords().hash(password)


def test_every_answer_carries_the_policy_that_forbids_inline_code(house):
    browser = house.log_in("counsellor", PASSWORD)
    for address in (
        "/log-in",
        "/operations",
        "/operations/new",
        "/no-such-page",
        "/static/desk.css",
        "/healthz",
    ):
        headers = browser.get(address).headers
        policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self'"
        assert policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert policy["form-action"] == "'self'"
        assert headers["cache-control"] == "no-store"
        assert headers["x-content-type-options"] == "nosniff"


def test_no_page_carries_inline_code_or_styles(house):
    browser = house.log_in("counsellor", PASSWORD)
    for address in ("/operations", "/operations/new", "/operations/paste", "/protocol", "/help/counsellor"):
        html = browser.get(address).text
        assert " style=" not in html
        assert "<style" not in html
        assert " onclick=" not in html
        assert html.count("<script") == html.count('<script src="/static/desk.js" defer>') == 1


@pytest.mark.parametrize(
    "then", ["//evil.test", "/\\evil.test", "https://evil.test", "javascript:x", "/a\nb"]
)
def test_logging_in_never_leads_to_another_site(house, then):
    answer = house.browser().post("/log-in", data={"login": "surgeon", "password": PASSWORD, "then": then})
    assert answer.headers["location"] == "/"


def test_a_body_over_the_limit_is_refused(house):
    browser = house.log_in("counsellor", PASSWORD)
    answer = browser.post("/operations/paste", data={"text": "x" * 13_100_000})
    assert answer.status_code == 413
    text = {"text": "x" * 2_100_000}
    assert browser.post("/operations/paste", data=text).status_code == 400
    file = {"file": ("record.json", b"x" * 2_100_000)}
    assert browser.post("/operations/paste", files=file).status_code == 422
    assert _count(house, "patient") == 0


def test_a_fault_of_the_program_shows_no_inside_and_says_what_to_do(house, monkeypatch, words_of):
    browser = house.log_in("surgeon", PASSWORD)

    def broken(*_args, **_more):
        raise RuntimeError("the inside of the program")

    monkeypatch.setattr("followup.desks.surgeon.waiting.drafts_waiting", broken)
    answer = browser.get("/waiting")
    assert answer.status_code == 500
    assert "the inside of the program" not in answer.text
    assert "Go back and try once more" in words_of(answer.text)


def _count(house, table: str) -> int:
    with house.store.read() as session:
        return session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one()


@pytest.mark.parametrize("method", ["TRACE", "TRACK", "CONNECT", "OPTIONS", "DELETE", "PATCH"])
def test_methods_that_nobody_serves_are_refused(house, method):
    """OWASP ASVS 5.0, 13.4.4; nothing of what was sent comes back."""
    answer = house.log_in("reception", PASSWORD).request(method, "/today", headers={"x-sent": "quillfeather"})
    assert answer.status_code in (403, 405)
    assert "quillfeather" not in answer.text
