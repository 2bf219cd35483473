"""Operations as they were told: kept word for word with the record, named in the journal, erased with it."""

from __future__ import annotations

import hashlib
import json
from datetime import timedelta

from sqlalchemy import text

from followup.records.people.patients import correct_record, newest_record
from followup.records.people.tellings import keep_telling, tellings_of
from followup.records.store.copying import carry
from followup.records.store.engine import sqlite_url
from followup.records.store.sites import Site, put_site
from followup.records.store.store import Store
from followup.records.views import SYSTEM

TOLD = "Phaco <b>right</b> eye.\nCapsule torn? لا"


def _keep(ward, patient, words=TOLD, eye="right", asked=(), now=None):
    with ward.store.write(ward.counsellor, now or ward.now) as unit:
        version = newest_record(unit.session, patient)
        return keep_telling(
            unit, version, eye=eye, day=ward.day0, language="en", text=words, asked=tuple(asked)
        )


def _kept(ward, patient):
    with ward.store.read() as session:
        return tellings_of(session, patient)


def _journal(ward):
    with ward.store.read() as session:
        rows = session.execute(
            text("SELECT actor, subject, details FROM journal WHERE action = 'operation told'")
        )
        return [(actor, subject, json.loads(details)) for actor, subject, details in rows]


def test_what_was_told_comes_back_word_for_word_and_the_journal_names_it_by_its_hash(ward):
    patient = ward.enter()
    _keep(ward, patient, asked=["operation.capsule_torn"])
    (kept,) = _kept(ward, patient)
    assert (kept.text, kept.eye, kept.day, kept.language) == (TOLD, "right", ward.day0, "en")
    assert (kept.record_number, kept.told_by, kept.told_at) == (1, "mira", ward.now)
    assert kept.asked == ("operation.capsule_torn",)
    assert _journal(ward) == [
        (
            "mira",
            "patient:K-1",
            {
                "version": 1,
                "eye": "right",
                "day": ward.day0.isoformat(),
                "asked": ["operation.capsule_torn"],
                "sha256": hashlib.sha256(TOLD.encode()).hexdigest(),
            },
        )
    ]


def test_the_same_words_are_kept_once_and_others_beside_them_newest_first(ward):
    patient = ward.enter()
    told = ((TOLD, "right"), ("Phaco.", "right"), (TOLD, "left"), (TOLD, "left"))
    for hours, (words, eye) in enumerate(told):
        _keep(ward, patient, words, eye, now=ward.now + timedelta(hours=hours))
    assert [(one.text, one.eye) for one in _kept(ward, patient)] == [
        (TOLD, "left"),
        ("Phaco.", "right"),
        (TOLD, "right"),
    ]
    assert len(_journal(ward)) == 3


def test_a_correction_leaves_what_was_told_where_it_was(ward):
    patient, other = ward.enter(), ward.enter(ward.record("K-2"))
    _keep(ward, patient)
    with ward.store.write(ward.counsellor, ward.now) as unit:
        correct_record(unit, patient_id=patient, record=ward.record(name="Wanjiru Kamau"), seen=1)
    assert [(one.text, one.record_number) for one in _kept(ward, patient)] == [(TOLD, 1)]
    assert _kept(ward, other) == ()


def test_whoever_is_bound_to_another_site_finds_nothing_of_it(ward):
    patient = ward.enter()
    _keep(ward, patient)
    with ward.store.write(SYSTEM, ward.now) as unit:
        site = put_site(unit, Site(0, "HILL", "Hill room"))
        unit.log("site added", "site:HILL")
    with ward.store.for_site(site.id).read() as session:
        assert tellings_of(session, patient) == ()


def test_a_backup_and_a_move_carry_it(ward, tmp_path):
    patient = ward.enter()
    _keep(ward, patient)
    target = Store.open(sqlite_url(tmp_path / "moved.db"))
    try:
        carry(ward.store.engine, target.engine)
        with target.read() as session:
            assert [one.text for one in tellings_of(session, patient)] == [TOLD]
    finally:
        target.close()
