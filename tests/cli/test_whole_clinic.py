"""A clinic handed on and brought back from the command line, on both databases."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from archives import unzipped

import followup
from followup.records.house.staff import all_staff
from followup.records.store.journal import journal_of
from followup.records.views import SYSTEM
from followup.resources import folder as resources

pytestmark = pytest.mark.usefixtures("database_kind", "cheap_seal")

WORDS = {"FOLLOWUP_BACKUP_PASSPHRASE": "four plain words here"}
PASSWORD = {"FOLLOWUP_PASSWORD": "another long password"}


@pytest.fixture
def elsewhere(make_blank, tmp_path):
    """An empty database and a new folder."""
    return {"FOLLOWUP_DATABASE_URL": make_blank(), "FOLLOWUP_FOLDER": str(tmp_path / "new")}


def test_a_clinic_goes_out_and_comes_back_and_a_manager_gets_in_again(
    clinic, store, inside, elsewhere, open_store, tmp_path
) -> None:
    out = inside("export", "--all", "all.zip")
    assert (out.returncode, out.stderr) == (0, "")
    assert "without the keys of the codes. It is not encrypted" in out.stdout
    assert (tmp_path / "all.zip").stat().st_mode & 0o077 == 0
    with store.read() as session:
        entry = journal_of(session, "clinic")[-1]
    assert (entry.actor, entry.action) == ("command line", "clinic exported")
    assert dict(entry.details)["keys"] is False
    done = inside("import", "--all", "all.zip", **elsewhere)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Nobody has a password" in done.stdout
    assert "are typed, not scanned" in done.stdout
    back = open_store(elsewhere["FOLLOWUP_DATABASE_URL"])
    with back.read() as session:
        assert [(one.login, one.password_hash) for one in all_staff(session)] == [("ruth", "")]
        told = journal_of(session, "clinic")[-1]
    assert (told.actor, told.action) == ("command line", "brought in from an archive")
    assert dict(told.details) == {"archive": "all.zip", "sha256": dict(entry.details)["sha256"]}
    assert inside("staff", "manager", "ruth", **elsewhere, **PASSWORD).returncode == 0
    assert inside("journal", "verify", **elsewhere).returncode == 0
    again = inside("import", "--all", "all.zip", **elsewhere)
    assert (again.returncode, again.stdout, again.stderr.count("\n")) == (2, "", 1)
    assert "a clinic is set up here already - an archive goes into an empty one" in again.stderr


def test_the_keys_go_along_sealed_and_only_when_they_are_asked_for(
    clinic, inside, elsewhere, tmp_path
) -> None:
    refused = inside("export", "all", "keys.zip", "--with-keys")
    assert refused.returncode == 2
    assert "only encrypted - give a passphrase" in refused.stderr
    assert not (tmp_path / "keys.zip").exists()
    assert inside("export", "--all", "keys.zip", "--with-keys", **WORDS).returncode == 0
    files, keys = unzipped(tmp_path / "keys.zip"), (clinic / "recall-keys.json").read_bytes()
    assert keys not in b"".join(files.values())
    for given, said in (
        ({}, "encrypted - give their passphrase"),
        ({**WORDS, **_other()}, "wrong passphrase"),
    ):
        refused = inside("import", "--all", "keys.zip", **{**elsewhere, **given})
        assert (refused.returncode, said in refused.stderr) == (2, True), refused.stderr
        assert os.listdir(tmp_path / "new") == []
    done = inside("import", "--all", "keys.zip", **elsewhere, **WORDS)
    assert (done.returncode, "typed, not scanned" in done.stdout) == (0, False)
    assert (tmp_path / "new" / "recall-keys.json").read_bytes() == keys


def _other() -> dict[str, str]:
    return {"FOLLOWUP_BACKUP_PASSPHRASE": "four other words here"}


def test_without_the_keys_new_ones_are_made_and_those_that_are_there_stay(
    clinic, inside, elsewhere, tmp_path
) -> None:
    assert inside("export", "--all", "keys.zip", "--with-keys", **WORDS).returncode == 0
    keys = (clinic / "recall-keys.json").read_bytes()
    done = inside("import", "--all", "keys.zip", "--without-keys", **elsewhere)
    assert (done.returncode, "typed, not scanned" in done.stdout) == (0, True)
    assert (tmp_path / "new" / "recall-keys.json").read_bytes() != keys


def test_what_the_clinic_has_in_files_comes_back_too(clinic, inside, elsewhere, tmp_path) -> None:
    """A translation that it reviewed, and its protocol."""
    words = clinic / "locales" / "bn" / "LC_MESSAGES" / "sheet.po"
    words.parent.mkdir(parents=True)
    words.write_bytes((resources("locales") / "bn" / "LC_MESSAGES" / "sheet.po").read_bytes())
    own = shutil.copytree(Path(followup.__file__).parent / "clinical" / "data", tmp_path / "own")
    assert inside("export", "--all", "all.zip", FOLLOWUP_PROTOCOL=str(own)).returncode == 0
    done = inside("import", "--all", "all.zip", **elsewhere)
    assert done.returncode == 0, done.stderr
    new = tmp_path / "new"
    assert f"own protocol lies in {new / 'protocol'}: name it in FOLLOWUP_PROTOCOL" in done.stdout
    assert (new / "locales/bn/LC_MESSAGES/sheet.po").read_bytes() == words.read_bytes()
    names = sorted(path.name for path in own.iterdir())
    assert len(names) >= 10
    assert sorted(path.name for path in (new / "protocol").iterdir()) == names
    assert all((new / "protocol" / one).read_bytes() == (own / one).read_bytes() for one in names)


def test_nothing_is_left_behind_where_it_does_not_come_back(
    clinic, store, inside, elsewhere, tmp_path, database_kind
) -> None:
    assert inside("export", "--all", "all.zip").returncode == 0
    whole = (tmp_path / "all.zip").read_bytes()
    (tmp_path / "all.zip").write_bytes(whole[: len(whole) // 2])
    other = tmp_path / "new" / "locales" / "bn"
    refused = inside("import", "--all", "all.zip", **elsewhere)
    assert (refused.returncode, refused.stdout, refused.stderr.count("\n")) == (2, "", 1)
    assert "all.zip: the file is damaged, not whole, or no archive" in refused.stderr
    assert not (tmp_path / "new").exists()
    assert not other.exists()
    for name in ("none.zip", "."):
        refused = inside("import", "--all", name, **elsewhere)
        assert (refused.returncode, refused.stderr.count("\n")) == (2, 1)
    # The place is still empty.
    (tmp_path / "all.zip").write_bytes(whole)
    assert inside("import", "--all", "all.zip", **elsewhere).returncode == 0


@pytest.mark.parametrize(
    "given",
    [
        ("--all", "--site", "HILL"),
        ("--all", "--refused", "x"),
        ("--all", "--mapping", "theatre"),
        ("--all", "--fhir"),
        ("--without-keys",),
    ],
)
@pytest.mark.parametrize("database_kind", ["sqlite"])
def test_what_does_not_go_together_is_refused(clinic, inside, given) -> None:
    refused = inside("import", "all.zip", *given)
    assert (refused.returncode, refused.stdout, refused.stderr.count("\n")) == (2, "", 1)
    assert "--all" in refused.stderr


def test_no_archive_is_written_over_a_file_or_of_a_broken_journal(
    clinic, store, inside, unguard_journal, tmp_path
) -> None:
    (tmp_path / "mine.zip").write_text("mine")
    refused = inside("export", "--all", "mine.zip")
    assert (refused.returncode, "it is there already - name a new file" in refused.stderr) == (2, True)
    assert (tmp_path / "mine.zip").read_text() == "mine"
    refused = inside("export", "--all", "nowhere/all.zip")
    assert (refused.returncode, refused.stderr.count("\n")) == (2, 1)
    with store.write(SYSTEM, datetime.now(UTC)) as unit:
        unit.log("something", "clinic")
    with store.engine.begin() as connection:
        unguard_journal(connection)
        connection.exec_driver_sql("UPDATE journal SET actor = 'x' WHERE number = 2")
    refused = inside("export", "--all", "all.zip")
    assert refused.returncode == 2
    assert "entry 2 was changed after it was written" in refused.stderr
    assert sorted(path.name for path in tmp_path.glob("*.zip*")) == ["mine.zip"]


def test_everybody_goes_out_without_names(clinic, store, inside, record_file, tmp_path) -> None:
    assert inside("import", str(_as_line(record_file(), tmp_path))).returncode == 0
    done = inside("export", "--pseudonymous", "research.zip")
    assert (done.returncode, done.stderr) == (0, "")
    assert "1 patient without names. It is not anonymous: 0 of them are alone" in done.stdout
    assert b"Wanjiru" not in b"".join(unzipped(tmp_path / "research.zip").values())
    assert inside("export").returncode == 2
    assert "pseudonymous" in inside("export", "--help").stdout


def _as_line(path, folder):
    target = folder / "one.jsonl"
    target.write_text(path.read_text("utf-8").replace("\n", " ") + "\n", "utf-8")
    return target
