"""Archives that are damaged, half written or made to do harm: refused in one line, and nothing is stored."""

from __future__ import annotations

import json
import shutil
import struct
import tempfile
import zipfile
from pathlib import Path

import pytest
from archives import brought_in, files_in, handed_on, lines, rows, unzipped, zipped
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutated import mutated, share

from followup.errors import FollowupError
from followup.exchange.archive import reading
from followup.exchange.archive.reading import Archive
from followup.records.store.copying import fingerprints
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store


@pytest.fixture(scope="module")
def sound(shared_ward, tmp_path_factory):
    """The archive of a small clinic; never changed."""
    shared_ward.log_in(shared_ward.now)
    shared_ward.signed()
    folder = tmp_path_factory.mktemp("sound")
    for name in ("protocol", "locales/bn/LC_MESSAGES"):
        (folder / name).mkdir(parents=True)
    (folder / "protocol" / "facts.toml").write_text("invented = true\n")
    (folder / "locales/bn/LC_MESSAGES/sheet.po").write_text("# invented\n")
    own = files_in(folder, protocol=folder / "protocol")
    return handed_on(shared_ward.store, folder / "all.zip", own)


@pytest.fixture(scope="module")
def files(sound):
    return unzipped(sound)


@pytest.fixture
def quick_draft(monkeypatch, sqlite_template):
    """The draft of an import begins with a copy of an empty store: its steps are tested elsewhere."""

    def upgrade(engine, step="head"):
        path = Path(engine.url.database)
        if not path.exists() or not path.stat().st_size:
            shutil.copy(sqlite_template, path)

    monkeypatch.setattr("followup.records.jobs.refilling.upgrade", upgrade)


@pytest.fixture
def tried(quick_draft, sqlite_template, tmp_path, open_store):
    """Brings an archive into an empty clinic; the one line with which it is refused, nothing being stored."""

    def refused(content: bytes) -> str:
        path, place = tmp_path / "all.zip", tmp_path / "new"
        path.write_bytes(content)
        shutil.copy(sqlite_template, tmp_path / "target.db")
        target = open_store(sqlite_url(tmp_path / "target.db"))
        before = _held(target)
        with pytest.raises(FollowupError) as told:
            brought_in(path, target, files_in(place))
        assert told.value.code.startswith("archive."), told.value.code
        assert _held(target) == before
        assert [one.name for one in place.rglob("*")] == []
        assert "\n" not in told.value.line
        return str(told.value.line)

    return refused


def _refusal(call) -> FollowupError | None:
    try:
        call()
    except FollowupError as error:
        return error
    return None


def _read(path: Path):
    """Everything that is read of an archive; None where it is refused in one line."""
    found = {}

    def read() -> None:
        with path.open("rb") as file:
            archive = Archive(file, "all.zip")
            found["manifest"] = archive.manifest
            found["rows"] = {name: [line.row for line in each] for name, each in archive.tables()}

    refused = _refusal(read)
    assert refused is None or (refused.code.startswith("archive.") and "\n" not in refused.line)
    return None if refused else found


def _held(store: Store):
    with store.engine.connect() as connection:
        return fingerprints(connection)


def _changed(files, name: str, change) -> dict[str, bytes]:
    """The files with the rows of one table changed."""
    found = rows(files, name)
    change(found)
    return {**files, f"tables/{name}.jsonl": lines(found)}


@pytest.mark.parametrize(
    ("cut", "said"),
    [
        (-1, "damaged, not whole"),
        (-400, "damaged, not whole"),
        (1000, "damaged, not whole"),
        (0, "not whole"),
    ],
)
def test_a_file_that_was_written_half_is_refused(sound, tried, cut, said) -> None:
    assert said in tried(sound.read_bytes()[:cut])


def test_one_byte_of_a_table_that_turned_is_found_by_its_checksum(files, tried) -> None:
    journal, told = files["tables/journal.jsonl"], json.loads(files["manifest.json"])["files"]
    turned = {**files, "tables/journal.jsonl": journal[:40] + b"X" + journal[41:]}
    line = tried(zipped(turned, manifest=lambda manifest: manifest.update(files=told)))
    assert "tables/journal.jsonl: its checksum is not the one in the manifest" in line


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda told: told.update(version=2), "of version 2 of the format; this program reads 1 - install"),
        (lambda told: told.update(step="9999"), "made by a newer version of the program - install that"),
        (lambda told: told.update(format="another"), "manifest.json: it is not that of a clinic's archive"),
        (lambda told: told.update(step=18), "step must be a text"),
        (lambda told: told.update(more=1), "more is not known"),
        (
            lambda told: told["journal"].update(entries=1),
            "its journal is not the one that its manifest names",
        ),
        (lambda told: told["files"][1].update(rows=99), "the manifest says 99"),
        (lambda told: told["files"][0].update(bytes=10**12), "would unpack to 300 times its size or more"),
        (lambda told: told["files"][0].update(bytes=10), "README.txt: its checksum is not the one"),
        (lambda told: told["files"].pop(), "is missing, or is not in its manifest"),
        (
            lambda told: told["files"][0].update(name="../README.txt"),
            "no archive holds a file called ../READ",
        ),
        (lambda told: told["files"].append(told["files"][0]), "a file stands in it twice"),
    ],
)
def test_a_manifest_that_does_not_fit_is_refused(files, tried, change, said) -> None:
    assert said in tried(zipped(files, manifest=change))


@pytest.mark.parametrize(
    "name", ["../evil.txt", "/etc/passwd", "clinic/locales/../../x.po", "tables\\a.jsonl"]
)
def test_a_name_that_leads_elsewhere_is_refused(files, tried, name) -> None:
    assert "no archive holds a file called" in tried(zipped({**files, name: b"x"}))


@pytest.mark.parametrize(
    ("table", "change", "said"),
    [
        ("patient", lambda r: r[0].pop("sex"), "tables/patient.jsonl line 1: the column sex is missing"),
        ("patient", lambda r: r[0].update(extra=1), "tables/patient.jsonl line 1: there is no column extra"),
        ("patient", lambda r: r[0].update(id="1"), "line 1: the column id holds no whole number"),
        ("patient", lambda r: r[0].update(id=True), "line 1: the column id holds no whole number"),
        ("patient", lambda r: r[0].update(name=None), "line 1: the column name holds no text"),
        ("trip", lambda r: r[2].update(day="2027-02-30"), "line 3: the column day holds no day"),
        (
            "journal",
            lambda r: r[1].update(at="2027-03-01T08:30:00"),
            "line 2: the column at holds no instant",
        ),
        ("trip", lambda r: r[1].update(given=1), "line 2: the column given holds no yes or no"),
        ("trip", lambda r: r[1].update(status="gone"), "tables/trip.jsonl line 2: the row breaks a rule"),
        ("trip", lambda r: r.append(r[0]), "tables/trip.jsonl line 4: the row breaks a rule"),
        ("trip", lambda r: r[0].update(id=2**70), "tables/trip.jsonl line 1: the row breaks a rule"),
        (
            "patient",
            lambda r: r[0].update(name="\ud800"),
            "tables/patient.jsonl line 1: the row breaks a rule",
        ),
        ("operation", lambda r: r[0].update(patient_id=77), "a row of operation points to one of patient"),
        ("clinic", lambda r: r.clear(), "it holds no clinic"),
        ("journal", lambda r: r[1].update(actor="x"), "entry 2 was changed after it was written"),
        ("care_plan", lambda r: r[0].update(reason="x"), "plan 1 is not the one that was signed"),
        ("record_version", lambda r: r[0].update(body=r[0]["body"] + " "), "is not the one that was signed"),
    ],
)
def test_a_row_that_does_not_fit_is_named_by_file_and_line(files, tried, table, change, said) -> None:
    assert said in tried(zipped(_changed(files, table, change)))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'{"id": 1\n', "the line is no JSON"),
        (b"[1]\n", "the line is no JSON object"),
        (b"\xff\n", "the line is no JSON"),
        (b'{"id": NaN}\n', "the line is no JSON"),
        (b"[" * 100_000 + b"\n", "the line is no JSON"),
        (b'{"id": ' + b"9" * 5000 + b"}\n", "the line is no JSON"),
        (b" " * 70_000 + b"\n", "the line is longer than 60000 bytes"),
    ],
)
def test_a_line_that_is_none_is_named(files, tried, content, said, monkeypatch) -> None:
    if "longer" in said:
        monkeypatch.setattr(reading, "MOST_LINE", 60_000)
    table = "sheet_choice"
    line = tried(zipped({**files, f"tables/{table}.jsonl": content}))
    assert f"tables/{table}.jsonl line 1: {said}" in line


def test_a_table_too_many_or_too_few_is_refused(files, tried) -> None:
    less = {name: content for name, content in files.items() if name != "tables/trip.jsonl"}
    assert "the table trip is missing" in tried(zipped(less))
    more = {**files, "tables/login_session.jsonl": b""}
    assert "there is no table login_session" in tried(zipped(more))


def test_a_bomb_a_packing_and_an_endless_list_of_files_are_refused(
    files, tried, tmp_path, monkeypatch
) -> None:
    bomb = zipped({**files, "clinic/protocol/big.toml": bytes(20_000_000)})
    assert "big.toml: it is larger than 4000000 bytes" in tried(bomb)
    with monkeypatch.context() as patch:
        patch.setattr(reading, "MOST_TIMES", 15)
        assert "would unpack to 15 times its size or more" in tried(bomb)
    with zipfile.ZipFile(path := tmp_path / "packed.zip", "w", zipfile.ZIP_BZIP2) as other:
        for name, content in files.items():
            other.writestr(name, content)
    assert "packed in a way that is not that of an archive" in tried(path.read_bytes())
    with zipfile.ZipFile(path, "w") as other:
        for number in range(1_200):
            other.writestr(f"{number}", b"")
    assert "the file is damaged, not whole, or no archive" in tried(path.read_bytes())
    # Said to hold more files than it does, in the longer form too.
    whole = zipped(files)
    longer = struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, 45, 45, 0, 0, 1, 10**6, 10**9, 0)
    locator = struct.pack("<4sLQL", b"PK\x06\x07", 0, len(whole) - 22, 1)
    assert "no archive" in tried(whole[:-22] + longer + locator + whole[-22:])


@settings(
    max_examples=share(0.1, suite=60),
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.data())
def test_whatever_happens_to_the_file_it_is_refused_or_is_the_same(sound, tmp_path, data) -> None:
    """Some bytes of a ZIP say nothing, such as a file's time: what is read then is what was written."""
    content = data.draw(mutated((sound.read_bytes(),)))
    path = tmp_path / "all.zip"
    path.write_bytes(content)
    told = _read(path)
    if told is not None:
        assert told == _read(sound)


@settings(
    max_examples=share(0.05, suite=30),
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.data())
def test_whatever_a_table_says_under_a_right_checksum_it_is_refused_or_stored_as_it_stands(
    files, quick_draft, sqlite_template, open_store, data
) -> None:
    name = data.draw(st.sampled_from([one for one in files if one.startswith("tables/") and files[one]]))
    content = data.draw(mutated((files[name],)))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "all.zip").write_bytes(zipped({**files, name: content}))
        shutil.copy(sqlite_template, folder / "target.db")
        target = open_store(sqlite_url(folder / "target.db"))
        before = _held(target)
        refused = _refusal(lambda: brought_in(folder / "all.zip", target, files_in(folder / "new")))
        if refused is not None:
            assert refused.code.startswith("archive.")
            assert _held(target) == before
            assert not any((folder / "new").iterdir())
        else:
            again = unzipped(handed_on(target, folder / "again.zip", files_in(folder / "new")))
            table = name[len("tables/") : -len(".jsonl")]
            stored = {json.dumps(row, sort_keys=True) for row in rows(again, table)}
            assert {json.dumps(json.loads(line), sort_keys=True) for line in content.splitlines()} <= stored
        target.close()
