"""The manager sees what did not go out, and has it tried again."""

from __future__ import annotations

from datetime import timedelta

import pytest

from followup.records.people.messages import (
    claim_message,
    due_messages,
    finish_message,
    queue_message,
    unsent_messages,
)
from followup.records.people.patients import patient_by_code
from followup.records.views import SYSTEM


@pytest.fixture
def failed(house, form_of, routine):
    """A message to a patient that failed for good."""
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text)
    assert counsellor.post("/operations/new", data=form | routine).status_code == 303
    now = house.clock.now
    with house.store.write(SYSTEM, now) as unit:
        who = patient_by_code(unit.session, "K-104")
        queue_message(
            unit,
            patient_code=who.code,
            key="k-1",
            patient_id=who.id,
            kind="reminder",
            day=now.date(),
            last_useful=now.date() + timedelta(days=1),
            language="en",
            reader="patient",
            channel="folder",
            address="",
            text="Come tomorrow.",
            segments=1,
            next_try=now,
        )
        (message,) = due_messages(unit.session, now)
        assert claim_message(unit, message_id=message.id, owner="test")
    with house.store.write(SYSTEM, now) as unit:
        finish_message(unit, message, owner="test", state="failed", error="<no route>")
    return message


def test_a_failed_message_is_listed_with_its_error_but_not_its_text(house, failed, words_of):
    page = house.log_in("manager").get("/messages")
    assert page.status_code == 200
    said = words_of(page.text)
    assert "K-104" in said
    assert "tried once" in said
    assert "&lt;no route&gt;" in page.text
    assert "Come tomorrow" not in page.text


def test_trying_again_puts_it_back_once_and_a_second_click_is_told(house, failed, words_of):
    manager = house.log_in("manager")
    assert manager.post(f"/messages/{failed.id}/again").status_code == 303
    with house.store.read() as session:
        assert unsent_messages(session) == ()
        assert [m.key for m in due_messages(session, house.clock.now)] == ["k-1"]
    again = manager.post(f"/messages/{failed.id}/again")
    assert 400 <= again.status_code < 500
    assert "no such message failed" in words_of(again.text)


def test_without_a_failed_message_the_page_says_so(house, words_of):
    assert "Every message has gone out" in words_of(house.log_in("manager").get("/messages").text)
