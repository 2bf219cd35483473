"""A clinic handed on and brought back is the same clinic: its rows, plans, sheets and lists."""

from __future__ import annotations

import shutil
from datetime import timedelta

import pytest
from archives import NOW, brought_in, files_in, handed_on, rows, unzipped
from sqlalchemy import text

from followup.care.hand import hand_for
from followup.care.sheets.content import content_of
from followup.clinical.careplan import to_store
from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.recall.codes.codes import load_keyring
from followup.recall.jobs.lists import DueLine, ReachLine, as_csv, due_lines, reach_lines
from followup.records.house.staff import open_session
from followup.records.plans.listed import drafts_waiting
from followup.records.plans.plans import active_plan, plans_in_force
from followup.records.plans.sheets import sheets_of
from followup.records.store.copying import fingerprints
from followup.records.store.engine import sqlite_url
from followup.records.store.journal import verify_journal
from followup.records.views import SYSTEM
from followup.sheets.paper.pdf import render_pdf

EVERY = 12  # of so many sheets one is set: the rest is compared by what goes into it
# What an import writes itself, and what is never handed on.
OTHERWISE = {"staff", "journal", "login_session"}


@pytest.fixture
def sample(made, tmp_path, open_store):
    """A sample clinic of the test's own, in which somebody is logged in."""
    shutil.copytree(made.folder, tmp_path / "sample", ignore=shutil.ignore_patterns("sheets"))
    store = open_store(sqlite_url(tmp_path / "sample" / "followup.sqlite3"))
    with store.write(SYSTEM, NOW) as unit:
        open_session(unit, login="reception", lifetime=timedelta(hours=1))
        unit.session.execute(text("UPDATE staff SET second_key = 'sealed', second_step = 7"))
    return store


@pytest.fixture
def archive(sample, tmp_path, cheap_seal):
    return handed_on(sample, tmp_path / "all.zip", files_in(tmp_path / "sample"), with_keys=True)


@pytest.fixture
def back(archive, make_blank, open_store, tmp_path):
    """The same clinic, brought into an empty database."""
    store = open_store(make_blank())
    brought_in(archive, store, files_in(tmp_path / "new"))
    return store


def _shown(store, folder):
    """What people see of a clinic: plans, what goes into each sheet, and the lists of its day."""
    keys, protocol = load_keyring(folder / "recall-keys.json"), load_protocol()
    hand = hand_for(store, protocol, keys, now=NOW)
    with store.read() as session:
        in_force = plans_in_force(session)
        sheets = [one for patient in sorted(in_force) for one in sheets_of(session, patient)]
        return {
            "plans": [to_store(active_plan(session, patient).body) for patient in sorted(in_force)],
            "today": as_csv(DueLine, due_lines(session, hand.today, NOW, protocol.kinds)),
            "to reach": as_csv(
                ReachLine,
                reach_lines(session, NOW, translator("en", "desk"), protocol.kinds, protocol.recall),
            ),
            "waiting": drafts_waiting(session),
            "sheets": {
                f"{one.patient_code}-{one.issue}": content_of(session, hand, one)
                for one in sheets
                if one.replaced_at is None
            },
        }


def test_the_sample_clinic_comes_back_with_the_same_rows_plans_sheets_and_lists(
    sample, back, made, tmp_path
) -> None:
    with sample.engine.connect() as one, back.engine.connect() as other:
        before, after = fingerprints(one), fingerprints(other)
    assert {name for name in before if before[name] != after[name]} == OTHERWISE
    assert before["care_plan"][0] > 50
    with back.read() as session, sample.read() as earlier:
        # The export is told in the old journal, the import in the new one: else they are the same.
        assert verify_journal(session).entries == verify_journal(earlier).entries
    old, new = _shown(sample, tmp_path / "sample"), _shown(back, tmp_path / "new")
    assert new == old
    assert (tmp_path / "new" / "recall-keys.json").read_bytes() == (
        made.folder / "recall-keys.json"
    ).read_bytes()
    assert all(old.values())
    printed = sorted(path.stem for path in (made.folder / "sheets").iterdir())
    assert len(printed) > 50
    for name in printed[::EVERY]:
        paper = (made.folder / "sheets" / f"{name}.pdf").read_bytes()
        assert render_pdf(new["sheets"][name]) == paper, name


def test_an_archive_of_what_came_back_has_the_same_lines(archive, back, tmp_path) -> None:
    """Whatever database it lay in meanwhile: byte for byte, but for the journal's newest entry."""
    again = unzipped(handed_on(back, tmp_path / "again.zip", files_in(tmp_path / "new")))
    first = unzipped(archive)
    tables = [name for name in first if name.startswith("tables/")]
    assert len(tables) > 30
    assert [name for name in tables if first[name] != again[name]] == ["tables/journal.jsonl"]
    assert again["tables/journal.jsonl"].startswith(first["tables/journal.jsonl"])
    assert rows(again, "journal")[-1]["action"] == "brought in from an archive"


def test_nobody_gets_in_with_what_stands_in_an_archive(sample, archive, back) -> None:
    files = unzipped(archive)
    whole = b"\n".join(files.values())
    with sample.engine.connect() as connection:
        secrets = connection.execute(text("SELECT password_hash FROM staff")).scalars().all()
        secrets += connection.execute(text("SELECT id FROM login_session")).scalars().all()
    assert len(secrets) > 5
    assert [one for one in secrets if one.encode() in whole] == []
    assert b"$argon2" not in whole
    assert b'"sealed"' not in whole
    assert "tables/login_session.jsonl" not in files
    assert not {"password_hash", "second_key", "second_step", "second_since"} & set(rows(files, "staff")[0])
    with back.engine.connect() as connection:
        assert set(connection.execute(text("SELECT password_hash FROM staff")).scalars()) == {""}
        assert connection.execute(text("SELECT count(*) FROM login_session")).scalar_one() == 0


def test_a_full_database_is_left_as_it_is(archive, back, sample, tmp_path) -> None:
    with back.engine.connect() as connection:
        before = fingerprints(connection)
    with pytest.raises(FollowupError, match="holds rows already"):
        brought_in(archive, back, files_in(tmp_path / "new"))
    with back.engine.connect() as connection:
        assert fingerprints(connection) == before
    assert (tmp_path / "new" / "recall-keys.json").exists()
