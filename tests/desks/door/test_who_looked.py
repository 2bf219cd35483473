"""Who looked at a patient is in the journal: once for each person, patient and day, by whatever way."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pypdfium2
import pytest
from asked import ASKED, line_of, names_of, route_of, send
from doors import WHO_MAY
from sqlalchemy import text

from followup.errors import FollowupError
from followup.records.store.journal import verify_journal
from followup.records.store.store import Store

# What names one patient in its address. The rest are lists, which name many, or show nobody.
_ONE = re.compile(r"{(code|plan|sheet|trip)}")
LOOKS = [asked for asked in ASKED if asked[0] == "GET" and _ONE.search(route_of(asked)[1])]
N1 = "patient:N-1"


def _entries(scene) -> list[tuple[str, str]]:
    """Who opened whom, as the journal has it."""
    with scene.house.store.read() as session:
        asked = text("SELECT actor, subject FROM journal WHERE action = 'record opened' ORDER BY number")
        return [tuple(row) for row in session.execute(asked)]


def _forgotten(scene) -> None:
    """As on another day: neither the table nor the process knows of a look."""
    with scene.house.store.engine.begin() as connection:
        connection.execute(text("DELETE FROM opening"))
    scene.house.desk.opened.known.clear()


def test_every_route_that_shows_one_patient_is_walked_here():
    shown = {(method, path) for method, path in WHO_MAY if method == "GET" and _ONE.search(path)}
    assert shown == {route_of(asked) for asked in LOOKS}
    assert len(shown) > 25


@pytest.mark.parametrize("asked", LOOKS, ids=line_of)
def test_whoever_opens_something_of_a_patient_stands_in_the_journal(scene, asked):
    _forgotten(scene)
    before = _entries(scene)
    assert send(scene, "bela", asked, names_of(scene)).status_code == 200
    assert _entries(scene) == [*before, ("bela", N1)]


def test_a_code_that_is_found_is_a_look_by_page_by_program_and_by_photo(scene):
    code, sheet = scene.ids["typed N-1"], scene.ids["sheet N-1"]
    pdf = scene.browser("bela").get(f"/sheets/{sheet}/paper.pdf").content
    taken = io.BytesIO()
    pypdfium2.PdfDocument(pdf)[0].render(scale=150 / 72).to_pil().save(taken, "PNG")
    photo = {"content": taken.getvalue(), "headers": {"content-type": "application/octet-stream"}}
    for ask in (
        lambda browser: browser.get(browser.post("/find", data={"text": code}).headers["location"]),
        lambda browser: browser.post("/api/find", json={"text": code}),
        lambda browser: browser.post("/api/photo", **photo),
        lambda browser: browser.get("/bottles/labels.pdf?code=N-1"),
    ):
        _forgotten(scene)
        before = _entries(scene)
        assert ask(scene.browser("bela")).status_code == 200
        assert _entries(scene) == [*before, ("bela", N1)]


def test_looking_again_on_the_same_day_writes_nothing_whatever_is_opened_and_by_which_process(scene):
    _forgotten(scene)
    before = _entries(scene)
    browser = scene.browser("bela")
    for path in ("/patients/N-1", "/patients/n-1", "/patients/N-1/record", f"/plans/{scene.ids['plan N-1']}"):
        browser.get(path)
        # Another server of the same clinic, or this one after it was started again.
        scene.house.desk.opened.known.clear()
    assert _entries(scene) == [*before, ("bela", N1)]
    scene.browser("carol").get("/patients/N-1")
    scene.browser("carol").get("/patients/M-1")
    assert _entries(scene) == [*before, ("bela", N1), ("carol", N1), ("carol", "patient:M-1")]
    with scene.house.store.read() as session:
        verify_journal(session)


def test_a_second_look_asks_the_database_for_nothing(scene, monkeypatch):
    from followup.care.records import opening

    scene.browser("bela").get("/patients/N-2")
    monkeypatch.setattr(opening, "patient_named", None)
    assert scene.browser("bela").get("/patients/N-2").status_code == 200


def test_the_next_day_of_the_clinic_is_another_look(scene):
    _forgotten(scene)
    before, then = _entries(scene), scene.house.clock.now
    scene.browser("carol").get("/patients/N-1")
    try:
        # 18:30 in London is midnight in Kolkata.
        scene.house.clock.now = then.replace(hour=18, minute=29)
        scene.browser("carol").get("/patients/N-1")
        assert len(_entries(scene)) == len(before) + 1
        scene.house.clock.now += timedelta(minutes=1)
        scene.browser("carol").get("/patients/N-1")
        assert _entries(scene) == [*before, ("carol", N1), ("carol", N1)]
    finally:
        scene.house.clock.now = then


def test_nobody_is_noted_for_what_the_other_site_or_nobody_has_nor_for_what_is_refused(scene):
    _forgotten(scene)
    before = _entries(scene)
    assert scene.browser("asha").get("/patients/N-1").status_code == 404
    assert scene.browser("asha").get("/patients/NO-SUCH-CODE").status_code == 404
    assert scene.browser("asha").get("/plans/999999").status_code == 404
    assert scene.house.browser().get("/patients/N-1").status_code == 303
    assert scene.house.enter("pharmacy").get("/patients/N-1").status_code == 403
    for path in ("/today", "/to-reach", "/operations", "/my-patients"):
        assert scene.browser("carol").get(path).status_code == 200
    assert scene.browser("carol").post("/api/find", json={"text": "Quillfeather"}).status_code == 200
    assert _entries(scene) == before


def test_where_the_look_cannot_be_written_down_nothing_is_shown_and_the_line_says_why(scene, monkeypatch):
    _forgotten(scene)
    before, browser = _entries(scene), scene.browser("bela")

    def busy(*_args):
        raise FollowupError("store.busy", "the database is busy, nothing was stored", fix="try again")

    with monkeypatch.context() as patched:
        patched.setattr(Store, "write", busy)
        answer = browser.get("/patients/N-1")
        assert answer.status_code == 503
        assert "the database is busy" in answer.text
        assert "Quillfeather" not in answer.text
    assert _entries(scene) == before
    assert browser.get("/patients/N-1").status_code == 200
