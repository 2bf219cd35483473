"""An archive read by others: by its schemas, its checksums and its journal alone, and in little memory."""

from __future__ import annotations

import gc
import hashlib
import io
import json
import os
import tracemalloc
import zipfile
from datetime import datetime

import pytest
from archives import NOW, described, files_in, handed_on, lines, rows, unzipped
from jsonschema import Draft202012Validator, FormatChecker

from followup.exchange.archive.reading import Archive
from followup.exchange.archive.writing import Everything, write_archive
from followup.records.people.patients import patient_by_code
from followup.records.store.journal import Seal, newest_seal
from followup.records.store.open_rows import OpenColumn, OpenTable


@pytest.fixture(scope="module")
def clinic(shared_ward):
    """A clinic with two patients, one with a signed plan."""
    shared_ward.log_in(shared_ward.now)
    shared_ward.signed()
    shared_ward.enter(shared_ward.record("K-2", "Amina Diallo"))
    return shared_ward


@pytest.fixture(scope="module")
def files(clinic, tmp_path_factory):
    folder = tmp_path_factory.mktemp("archive")
    return unzipped(handed_on(clinic.store, folder / "all.zip", files_in(folder)))


FORMATS = FormatChecker()


@FORMATS.checks("date-time", ValueError)
def _instant(value: object) -> bool:
    """RFC 3339: with an offset. The library's own check needs another library."""
    return not isinstance(value, str) or datetime.fromisoformat(value).tzinfo is not None


def _schema(files, name):
    return json.loads(files[f"schemas/{name}.schema.json"])


def _valid(schema, content) -> list[str]:
    Draft202012Validator.check_schema(schema)
    found = Draft202012Validator(schema, format_checker=FORMATS)
    return [error.message for error in found.iter_errors(content)]


def test_every_line_is_what_its_schema_says(files) -> None:
    """JSON Schema 2020-12, by the jsonschema library."""
    names = [name[7:-6] for name in files if name.startswith("tables/")]
    filled = 0
    for name in names:
        schema, found = _schema(files, name), rows(files, name)
        assert schema["description"], name
        assert [error for row in found for error in _valid(schema, row)] == [], name
        assert not found or [*found[0]] == schema["required"], name
        filled += bool(found)
    assert filled >= 12
    record = _schema(files, "operative_record")
    bodies = [json.loads(row["body"]) for row in rows(files, "record_version")]
    assert [error for body in bodies for error in _valid(record, body)] == []
    assert _valid(_schema(files, "manifest"), json.loads(files["manifest.json"])) == []


@pytest.mark.parametrize("change", [{"number": "1"}, {"at": "yesterday"}, {"more": 1}])
def test_a_line_that_is_not_is_found_by_the_schema(files, change) -> None:
    schema, row = _schema(files, "journal"), rows(files, "journal")[0]
    assert _valid(schema, {**row, **change})


def test_the_manifest_names_every_other_file_with_its_checksum(files, clinic) -> None:
    told = json.loads(files["manifest.json"])
    assert told["files"] == described(files)
    assert (told["format"], told["version"], told["made"]) == ("followup archive", 1, "2027-03-10T09:30:00Z")
    assert "the keys that seal the codes of sheets" in told["left_out"]
    assert b"they were not asked for" in files["README.txt"]


def test_the_journal_is_whole_by_what_the_read_me_says_of_it(files) -> None:
    """The chain computed again from the lines alone, as README.txt tells others to."""
    previous = "0" * 64
    journal = rows(files, "journal")
    for row in journal:
        at = row["at"] if "." in row["at"] else row["at"].replace("+", ".000000+")
        sealed = {**{name: row[name] for name in ("action", "actor")}, "at": at}
        sealed |= {name: row[name] for name in ("details", "number", "subject")}
        text = json.dumps(sealed, separators=(",", ":"), ensure_ascii=False)
        assert row["previous"] == previous
        previous = hashlib.sha256(f"{previous}{text}".encode()).hexdigest()
        assert row["hash"] == previous
    told = json.loads(files["manifest.json"])["journal"]
    assert told == {"entries": len(journal), "hash": previous}
    assert journal


def test_the_export_is_in_the_journal_of_the_clinic_and_the_file_its_owners_alone(clinic, tmp_path) -> None:
    path = handed_on(clinic.store, tmp_path / "told.zip", files_in(tmp_path))
    with clinic.store.read() as session:
        assert patient_by_code(session, "K-1") is not None
        entries = newest_seal(session).entries
    with path.open("rb") as file:
        assert Archive(file, "told.zip").manifest.journal.entries == entries - 1
    assert path.stat().st_mode & 0o077 == 0
    assert [one.name for one in tmp_path.iterdir()] == ["told.zip"]


def _long(count: int):
    """An archive of one table with so many rows, made and read again; the most memory that both took."""
    table = OpenTable("patient", "Invented.", (OpenColumn("id", "whole number", False),))
    made = Everything("1", "0018", NOW, Seal(0, "0" * 64), None, {})
    given = ({"id": number, "text": f"{number} " * 60} for number in range(count))
    file = io.BytesIO()
    tracemalloc.start()
    write_archive(file, made, [(table, given)])
    held = len(file.getbuffer())
    found = sum(1 for _, each in Archive(file, "long.zip").tables() for _ in each)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == count
    return peak - 2 * held


def test_ten_times_the_rows_take_no_more_memory() -> None:
    few, many = _long(3_000), _long(30_000)
    assert many < few + 1_500_000
    assert many < 12_000_000


def test_the_same_rows_give_the_same_bytes(tmp_path) -> None:
    table = OpenTable("patient", "Invented.", (OpenColumn("id", "whole number", False),))
    made = Everything("1", "0018", NOW, Seal(0, "0" * 64), b"sealed", {"protocol/facts.toml": b"x = 1\n"})
    one, other = io.BytesIO(), io.BytesIO()
    for file in (one, other):
        write_archive(file, made, [(table, [{"id": 1}])])
    assert one.getvalue() == other.getvalue()
    with zipfile.ZipFile(one) as found:
        assert found.read("tables/patient.jsonl") == lines([{"id": 1}]).replace(b": ", b":")
        assert found.read("clinic/protocol/facts.toml") == b"x = 1\n"
        assert found.testzip() is None


class _Full(io.BytesIO):
    """A disk on which nothing more finds room once so many bytes are written."""

    full = False

    def write(self, data) -> int:
        self.full |= self.tell() > 200_000
        if self.full:
            raise OSError(28, "No space left on device")
        return super().write(data)


def test_a_full_disk_is_told_once_and_nothing_is_written_behind_it(monkeypatch) -> None:
    table = OpenTable("patient", "Invented.", (OpenColumn("id", "whole number", False),))
    made = Everything("1", "0018", NOW, Seal(0, "0" * 64), None, {})
    behind = []
    monkeypatch.setattr("sys.unraisablehook", behind.append)
    given = ({"id": number, "text": os.urandom(200).hex()} for number in range(5_000))
    told = ""
    try:
        write_archive(_Full(), made, [(table, given)])
    except OSError as full:
        told = str(full.strerror)
    gc.collect()
    assert (told, behind) == ("No space left on device", [])
