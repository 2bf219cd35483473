"""A clinic handed on and brought back is the same clinic: its rows, plans, sheets and lists."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from archives import NOW, brought_in, files_in, handed_on, rows, unzipped
from seal_cheaply import seal_cheaply
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
from followup.records.store.store import Store
from followup.records.views import SYSTEM
from followup.sheets.paper.pdf import render_pdf

EVERY = 12  # of so many sheets one is set: the rest is compared by what goes into it
# What an import writes itself, and what is never handed on.
OTHERWISE = {"staff", "journal", "login_session"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where the clinics lie that all tests of this file look at."""
    return tmp_path_factory.mktemp("clinics")


@pytest.fixture(scope="module")
def sample(made, folder):
    """A sample clinic in which somebody is logged in."""
    shutil.copytree(made.folder, folder / "sample", ignore=shutil.ignore_patterns("sheets"))
    store = Store.open(sqlite_url(folder / "sample" / "followup.sqlite3"))
    with store.write(SYSTEM, NOW) as unit:
        open_session(unit, login="reception", lifetime=timedelta(hours=1))
        unit.session.execute(text("UPDATE staff SET second_key = 'sealed', second_step = 7"))
    yield store
    store.close()


@pytest.fixture(scope="module")
def sealed():
    """The keys are sealed for a look alone: the real seal is tested in the records' room."""
    with pytest.MonkeyPatch.context() as patch:
        seal_cheaply(patch)
        yield


@pytest.fixture(scope="module")
def archive(sample, folder, sealed):
    return handed_on(sample, folder / "all.zip", files_in(folder / "sample"), with_keys=True)


@dataclass
class Back:
    """The same clinic in another database, its folder, and how long its journal was when it had come in."""

    store: Store
    folder: Path
    entries: int


@pytest.fixture(scope="module")
def backs():
    """By kind of database."""
    known: dict[str, Back] = {}
    yield known
    for one in known.values():
        one.store.close()


@pytest.fixture
def back(archive, backs, database_kind, request, folder):
    """The archive brought into an empty database."""
    if database_kind not in backs:
        lies = folder / database_kind
        lies.mkdir()
        sqlite = database_kind == "sqlite"
        url = sqlite_url(lies / "followup.sqlite3") if sqlite else request.getfixturevalue("blank_postgres")()
        store = Store.open(url)
        brought_in(archive, store, files_in(lies))
        with store.read() as session:
            backs[database_kind] = Back(store, lies, verify_journal(session).entries)
    return backs[database_kind]


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
    sample, back, made, folder
) -> None:
    with sample.engine.connect() as one, back.store.engine.connect() as other:
        before, after = fingerprints(one), fingerprints(other)
    assert {name for name in before if before[name] != after[name]} == OTHERWISE
    assert before["care_plan"][0] > 50
    with sample.read() as earlier:
        # The export is told in the old journal, the import in the new one: else they are the same.
        assert back.entries == verify_journal(earlier).entries
    old, new = _shown(sample, folder / "sample"), _shown(back.store, back.folder)
    assert new == old
    assert (back.folder / "recall-keys.json").read_bytes() == (made.folder / "recall-keys.json").read_bytes()
    assert all(old.values())
    printed = sorted(path.stem for path in (made.folder / "sheets").iterdir())
    assert len(printed) > 50
    for name in printed[::EVERY]:
        paper = (made.folder / "sheets" / f"{name}.pdf").read_bytes()
        assert render_pdf(new["sheets"][name]) == paper, name


def test_an_archive_of_what_came_back_has_the_same_lines(archive, back, tmp_path) -> None:
    """Whatever database it lay in meanwhile: byte for byte, but for the journal's newest entry."""
    again = unzipped(handed_on(back.store, tmp_path / "again.zip", files_in(back.folder)))
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
    with back.store.engine.connect() as connection:
        assert set(connection.execute(text("SELECT password_hash FROM staff")).scalars()) == {""}
        assert connection.execute(text("SELECT count(*) FROM login_session")).scalar_one() == 0


def test_a_full_database_is_left_as_it_is(archive, back) -> None:
    with back.store.engine.connect() as connection:
        before = fingerprints(connection)
    with pytest.raises(FollowupError, match="holds rows already"):
        brought_in(archive, back.store, files_in(back.folder))
    with back.store.engine.connect() as connection:
        assert fingerprints(connection) == before
    assert (back.folder / "recall-keys.json").exists()
