"""What a person typed is shown as it was typed, in every language of the staff, and so in its box again."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html import unescape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.clinical.adjustments import CourseEdit
from followup.clinical.review.choosing import accept
from followup.clinical.review.proposal import Proposal
from followup.desks.words.extraction import DESK_LANGUAGES
from followup.desks.words.texts import Texts
from followup.errors import FollowupError
from followup.language.catalogues import wanted_messages
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.views import SYSTEM
from followup.said import say
from followup.typed import plain, said, typed, typed_in

PASSWORD = "a long enough password"
SEEN = "Stop bromfenac early: the cornea is melting"
MESSAGES = [message for _context, message in sorted(wanted_messages("desk"), key=str) if "%(" not in message]
WITH_VALUES = [message for message in MESSAGES if re.search(r"\{\w+\}", message)]
OURS = [*MESSAGES[::7], SEEN, "right eye", "2027-03-01", "7 days", "fulfilled", "4+"]


@st.composite
def like_ours(draw) -> str:
    """A text that one of our own sentences could be: exact, with values, cut off or put together."""
    values = st.text("abc 12.:;,()'+-", min_size=1, max_size=12) | st.sampled_from(OURS)
    shape = draw(st.sampled_from([*OURS, *WITH_VALUES]))
    text = re.sub(r"\{\w+\}", lambda _: draw(values), shape)
    if draw(st.booleans()):
        text = (
            f"{text}{draw(st.sampled_from(['. ', '; ', ': ', ', ', ' and ']))}{draw(st.sampled_from(OURS))}"
        )
    return plain(text)


@pytest.mark.parametrize("tag", DESK_LANGUAGES)
@given(words=like_ours(), other=like_ours(), frame=st.sampled_from(WITH_VALUES))
def test_typed_words_stand_in_a_sentence_of_ours_as_they_were_typed(tag, words, other, frame):
    texts = Texts(tag)
    pieces = iter([typed(words), typed(other)])
    names = dict.fromkeys(re.findall(r"\{(\w+)\}", frame))
    told = texts.told(say(frame, **{name: next(pieces, "7") for name in names}))
    assert told.count(typed(words)) >= 1


@pytest.mark.parametrize("tag", DESK_LANGUAGES)
@given(words=like_ours())
def test_a_reason_typed_as_a_whole_is_looked_through_by_nobody(tag, words):
    texts = Texts(tag)
    assert texts.reason(words) == words
    assert plain(texts.told(said(words))) == words
    assert typed_in(words) == words
    assert texts.found(words, "text", "Findings.note") == words


@pytest.mark.parametrize("tag", DESK_LANGUAGES)
@given(words=like_ours())
def test_the_reason_of_a_taken_proposal_keeps_the_surgeons_words(tag, words):
    course = CourseEdit(
        course="right:nsaid", starts=date(2027, 3, 8), steps=(), reason="Stop the NSAID drop.", by=""
    )
    proposal = Proposal(
        id="a",
        title="",
        about="other",
        direction="lower",
        eye="right",
        on=course.starts,
        adjustments=(course,),
    )
    taken = accept([proposal], by="Dr Sen", reason=words)[0]
    assert typed(words) in Texts(tag).reason(taken.reason)
    assert typed_in(taken.reason) == words


@given(words=like_ours())
def test_an_error_says_what_was_typed_without_marks_to_programs_and_as_typed_to_people(words):
    words = " ".join(words.split())[:200]
    error = FollowupError("x", f"{typed(words)} is no number of bottles", where="y", fix="write digits")
    assert error.what == f"{words} is no number of bottles"
    assert str(error) == error.line == f"y: {words} is no number of bottles - write digits"
    assert words in plain(Texts("ar").told(error.line))


@pytest.fixture
def drafted(house, routine, form_of):
    """A plan in force and a surgeon beside it."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine | {"operations.0.surgeon": ["Dr Sen"]}
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    surgeon = house.log_in("surgeon")
    assert surgeon.post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return house, surgeon, plan


def _speak(house, tag):
    with house.store.write(SYSTEM, house.clock.now) as unit:
        put_clinic(unit, replace(get_clinic(unit.session), staff_language=tag))


def _box(html: str) -> str:
    return unescape(html.split('id="reason" name="reason" value="')[1].split('"')[0])


@pytest.mark.parametrize("words", [SEEN, "right eye", "Four a day for a week, never tapered.", "7 days; 2+"])
def test_a_reason_goes_through_draft_list_box_and_signature_as_it_was_typed(drafted, form_of, words):
    house, surgeon, plan = drafted
    steps = form_of(surgeon.get(f"{plan}/steps", params={"course": "right:nsaid"}).text)
    sent = steps | {"count": [""], "days": [""], "reason": [words], "store": ["yes"]}
    made = surgeon.post(f"{plan}/steps", data=sent).headers["location"]
    for tag in DESK_LANGUAGES:
        _speak(house, tag)
        page = surgeon.get(made).text
        assert _box(page) == words
        assert f"<bdi>{words}</bdi>" in page
        assert f"<bdi>{words}</bdi>" in surgeon.get("/waiting").text
        why = [item for item in page.split("<details") if typed(words) in item]
        assert why, "the reason of the change stands with its course"
    signed = surgeon.post(f"{made}/sign", data={"password": PASSWORD, "reason": _box(page)})
    assert signed.status_code == 303
    assert f"<bdi>{words}</bdi>" in surgeon.get(made).text


@pytest.mark.parametrize("words", [SEEN, "left eye", "not done. 3 drops"])
def test_the_reason_of_a_proposal_and_a_note_come_back_as_typed_in_every_language(drafted, form_of, words):
    house, surgeon, _plan = drafted
    house.clock.on(7)
    surgeon = house.log_in("surgeon")
    eye = "/patients/K-104/eyes/right"
    form = form_of(surgeon.get(eye).text, f"{eye}/findings")
    found = {"cells": "2+", "flare": "2+", "pressure": "18", "vision": "6/12", "note": words}
    asked = ("vision_falling", "pain", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
    found |= dict.fromkeys(asked, "no")
    form |= {f"reviews.0.{name}": [value] for name, value in found.items()}
    look = surgeon.post(f"{eye}/findings", data=form).headers["location"]
    page = surgeon.get(look).text
    form = form_of(page) | {"take": [page.split('name="take" value="')[1].split('"')[0]], "reason": [words]}
    form.pop("show", None)
    made = surgeon.post(look, data=form | {"store": ["yes"]}).headers["location"]
    for tag in DESK_LANGUAGES:
        _speak(house, tag)
        assert f"<bdi>{words}</bdi>" in surgeon.get(eye).text
        assert words in surgeon.get(look).text
        draft = surgeon.get(made).text
        assert _box(draft) == words
        assert typed(words) in draft
    assert surgeon.post(f"{made}/sign", data={"password": PASSWORD, "reason": _box(draft)}).status_code == 303
    kept = surgeon.get(made).text
    assert typed(words) in kept, "what was taken stands with the reason after the signature too"
