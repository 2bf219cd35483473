"""A backup proves itself: damaged, or without its proof, it is not put back, with or without its note."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime

import pytest

from followup.errors import FollowupError
from followup.records.jobs.backup import backups, damaged_backups, note_of, take_backup
from followup.records.jobs.restoring import Restoring, restore
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)
HOW = Restoring(SYSTEM, NOW)
# Written anew by every restore: who is logged in, and the entry that says where the database comes from.
OF_THE_RESTORE = ("login_session", "journal")


def _rows(path) -> dict[str, list[tuple[object, ...]]]:
    """Every row and the shape of every table, but for what a restore writes itself."""
    with closing(sqlite3.connect(f"file:{path}?immutable=1", uri=True)) as file:
        shape = list(file.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name"))
        found = {
            name: list(file.execute(f'SELECT * FROM "{name}"')) for kind, name, *_ in shape if kind == "table"
        }
    for name in OF_THE_RESTORE:
        found[name] = found[name][:-1] if name == "journal" else []
    return {**found, "": shape}


@pytest.fixture
def plain(sqlite_ward, tmp_path):
    """A plain backup of a clinic with a signed plan."""
    sqlite_ward.signed()
    return take_backup(sqlite_ward.store.engine, tmp_path / "b", NOW).path


def _aimed(content: bytes) -> int:
    """Where a date stands inside a row: one bit of it makes another day."""
    return content[: content.index(b'"first-look"')].rindex(b"2027-03-01") + 3


def test_every_turned_bit_is_found_by_the_hash_in_the_note(plain, tmp_path):
    content = plain.read_bytes()
    for place in (_aimed(content), 30, len(content) - 1):
        turned = bytearray(content)
        turned[place] ^= 1
        plain.write_bytes(turned)
        assert (backups(tmp_path / "b"), damaged_backups(tmp_path / "b")) == ((), (plain,))
        with pytest.raises(FollowupError) as caught:
            restore(plain, tmp_path / "new.db", HOW)
        assert (caught.value.code, (tmp_path / "new.db").exists()) == ("backup.broken", False)


def test_every_turned_bit_is_noticed_before_a_backup_is_put_back(plain, tmp_path):
    """Without its note: single bits in 40 places that hold something, 6 anywhere and in the head of the file,
    where SQLite keeps what the whole of it means."""
    note_of(plain).unlink()
    restore(plain, tmp_path / "whole.db", HOW)
    content, same, chance = plain.read_bytes(), _rows(tmp_path / "whole.db"), random.Random(36)
    used = [place for place, byte in enumerate(content) if byte]
    places = [_aimed(content), *chance.sample(used, 40), *chance.choices(range(len(content)), k=6)]
    places += [18, 20, 31, 47, 52, 55, 59, 67]
    damaged = plain.with_name("damaged.sqlite3")
    refused = 0
    for number, place in enumerate(places):
        turned = bytearray(content)
        turned[place] ^= 1 << (number and chance.randrange(8))
        damaged.write_bytes(turned)
        target = tmp_path / f"{number}.db"
        with suppress(FollowupError):
            restore(damaged, target, HOW)
        if target.exists():
            # Put back only because the bit stands where no row is.
            assert number, "the bit that makes another day was not noticed"
            assert _rows(target) == same, place
        else:
            refused += 1
    assert refused >= 30


def test_a_backup_without_its_proof_is_put_back_only_where_that_is_said(plain, tmp_path):
    note_of(plain).unlink()
    with closing(sqlite3.connect(plain)) as file, file:
        file.execute("DROP TABLE backup_proof")
    with pytest.raises(FollowupError) as caught:
        restore(plain, tmp_path / "new.db", HOW)
    assert (caught.value.code, "--without-proof" in caught.value.fix) == ("backup.proof", True)
    assert not (tmp_path / "new.db").exists()
    restore(plain, tmp_path / "new.db", Restoring(SYSTEM, NOW, unproved=True))
    assert (tmp_path / "new.db").exists()


def test_a_proof_that_does_not_hold_is_refused_also_where_none_is_asked_for(plain, tmp_path):
    note_of(plain).unlink()
    with closing(sqlite3.connect(plain)) as file, file:
        file.execute("UPDATE patient SET code_key = 'k-2', code = 'K-2'")
    with pytest.raises(FollowupError) as caught:
        restore(plain, tmp_path / "new.db", Restoring(SYSTEM, NOW, unproved=True))
    assert caught.value.code == "backup.broken"


def test_the_proof_holds_what_the_first_proofs_did_not(plain, tmp_path):
    """A backup from before the kinds of tables were in the proof is still one; a changed kind is noticed."""
    note_of(plain).unlink()
    with closing(sqlite3.connect(plain)) as file, file:
        file.execute("DELETE FROM backup_proof WHERE name = '(kinds)'")
    restore(plain, tmp_path / "first.db", HOW)
    with closing(sqlite3.connect(plain)) as file, file:
        file.execute("DELETE FROM backup_proof WHERE name = 'staff'")
    with pytest.raises(FollowupError) as caught:
        restore(plain, tmp_path / "second.db", HOW)
    assert caught.value.code == "backup.broken"
