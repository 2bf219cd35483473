"""Eyes in danger: what opens, what stays one, who closes it with which word, and what is left open."""

from __future__ import annotations

from datetime import timedelta

import pytest

from followup.errors import FollowupError
from followup.records.desk.alerts import alerts_of_code, close_alert, close_walk_ins, open_alert, open_alerts
from followup.records.store.journal import journal_of
from followup.records.tables import PatientRow
from followup.records.views import Actor


@pytest.fixture
def two(sqlite_ward):
    """Two patients' numbers."""
    return [sqlite_ward.enter(sqlite_ward.record(code)) for code in ("K-1", "K-2")]


def _open(
    ward, patient, kind="senior review", *, day=4, eye="right", signs=("level in the chamber",), later=0
):
    with ward.store.write(ward.reception, ward.at(4) + timedelta(minutes=later)) as unit:
        open_alert(
            unit, patient_id=patient, kind=kind, day=ward.day(day), eye=eye, signs=signs, words="hurts"
        )
        unit.log("looked at", "clinic")


def _told(ward, patients=None):
    with ward.store.read() as session:
        return [(one.patient_id, one.kind, one.eye, one.signs) for one in open_alerts(session, patients)]


def _close(ward, patient, alert, word, by=None):
    with ward.store.write(by or ward.surgeon, ward.at(5)) as unit:
        close_alert(unit, patient_id=patient, alert_id=alert, word=word)
        unit.log("looked at", "clinic")


def _ids(ward):
    with ward.store.read() as session:
        return [one.id for one in open_alerts(session)]


def test_the_same_signs_of_one_look_are_one_review_and_anything_else_opens_anew(sqlite_ward, two):
    level, pain = "level in the chamber", "pain"
    first, other = two
    # Said again, or a part of it: one. Then what differs: sign, eye, no eye, day, patient, kind.
    for number, more in enumerate(
        [
            {"signs": (level, pain)},
            {"signs": (level,)},
            {"signs": (pain, level)},
            {"signs": (level, "fibrin")},
            {"eye": "left"},
            {"eye": None},
            {"day": 5},
        ]
    ):
        _open(sqlite_ward, first, later=number, **more)
    _open(sqlite_ward, other, later=8)
    senior = "senior review"
    assert _told(sqlite_ward) == [
        (first, senior, "right", (level, pain)),
        (first, senior, "right", (level, "fibrin")),
        (first, senior, "left", (level,)),
        (first, senior, None, (level,)),
        (first, senior, "right", (level,)),
        (other, senior, "right", (level,)),
    ]
    # A review that was closed is not opened again by the same look.
    for alert in _ids(sqlite_ward):
        _close(sqlite_ward, first if alert < _ids(sqlite_ward)[-1] else other, alert, "seen by Dr Sen")
    for more in ({"signs": (level, pain)}, {"signs": ("fibrin",)}, {"eye": None}):
        _open(sqlite_ward, first, **more)
    assert _told(sqlite_ward) == []
    # What is said at the window each time it is said.
    for _ in range(2):
        _open(sqlite_ward, first, "walk-in", eye=None)
    assert [kind for _, kind, *_ in _told(sqlite_ward)] == ["walk-in", "walk-in"]


def test_walk_ins_stand_first_and_then_whatever_is_open_longest(sqlite_ward, two):
    first, other = two
    _open(sqlite_ward, first, later=0)
    _open(sqlite_ward, other, later=5)
    _open(sqlite_ward, other, "walk-in", later=9)
    _open(sqlite_ward, first, "walk-in", later=7)
    everybody = [(first, "walk-in"), (other, "walk-in"), (first, "senior review"), (other, "senior review")]
    assert [told[:2] for told in _told(sqlite_ward)] == everybody
    assert [told[:2] for told in _told(sqlite_ward, [other])] == [everybody[1], everybody[3]]
    assert _told(sqlite_ward, []) == []
    with sqlite_ward.store.read() as session:
        assert [one.patient_id for one in alerts_of_code(session, "K-1")] == [first, first]
        assert alerts_of_code(session, "K-9") == ()
        (walk_in, _) = alerts_of_code(session, "K-2")
    assert (walk_in.words, walk_in.day, walk_in.opened_by) == ("hurts", sqlite_ward.day(4), "Omar")


def test_a_look_answers_what_this_patient_said_at_the_window_and_no_senior_review(sqlite_ward, two):
    first, other = two
    for patient in two:
        _open(sqlite_ward, patient)
        _open(sqlite_ward, patient, "walk-in")
    with sqlite_ward.store.write(sqlite_ward.surgeon, sqlite_ward.at(5)) as unit:
        close_walk_ins(unit, unit.session.get(PatientRow, first), word="a look is stored")
    assert [told[:2] for told in _told(sqlite_ward)] == [
        (other, "walk-in"),
        (first, "senior review"),
        (other, "senior review"),
    ]


@pytest.mark.parametrize("role", ["reception", "pharmacy", "manager", "counsellor", "surgeon"])
def test_a_clinical_role_alone_says_what_was_done(sqlite_ward, two, role):
    _open(sqlite_ward, two[0])
    (alert,) = _ids(sqlite_ward)
    by = Actor(role, frozenset({role}), role.title())
    if role in ("counsellor", "surgeon"):
        _close(sqlite_ward, two[0], alert, "seen", by)
        assert _ids(sqlite_ward) == []
        return
    with pytest.raises(FollowupError) as caught:
        _close(sqlite_ward, two[0], alert, "seen", by)
    assert (caught.value.code, _ids(sqlite_ward)) == ("role.missing", [alert])


@pytest.mark.parametrize(
    ("whose", "which", "word", "code"),
    [
        (0, 0, "", "alert.word"),
        (0, 0, "  ", "alert.word"),
        (1, 0, "seen", "alert.unknown"),
        (0, 99, "seen", "alert.unknown"),
    ],
)
def test_what_says_nothing_or_is_about_somebody_else_closes_nothing(
    sqlite_ward, two, whose, which, word, code
):
    _open(sqlite_ward, two[0])
    (alert,) = _ids(sqlite_ward)
    with pytest.raises(FollowupError) as caught:
        _close(sqlite_ward, two[whose], alert + which, word)
    assert (caught.value.code, _ids(sqlite_ward)) == (code, [alert])


def test_the_same_word_twice_closes_once_and_another_persons_is_told_who_was_first(sqlite_ward, two):
    _open(sqlite_ward, two[0])
    (alert,) = _ids(sqlite_ward)
    for _ in range(2):
        _close(sqlite_ward, two[0], alert, " tapped and injected ")
    with sqlite_ward.store.read() as session:
        closed = [one for one in journal_of(session, "patient:K-1") if one.action == "senior review closed"]
    assert len(closed) == 1
    for by, word in (
        (sqlite_ward.other_surgeon, "tapped and injected"),
        (sqlite_ward.surgeon, "seen"),
    ):
        with pytest.raises(FollowupError) as caught:
            _close(sqlite_ward, two[0], alert, word, by)
        assert (caught.value.code, caught.value.what) == ("alert.closed", "Dr Sen has closed this already")
