"""Whatever comes from outside, damaged: understood, or refused in one line; no fault, and nothing stored.

A few hundred examples in the suite. By hand: FUZZ=20000 pytest faults/test_fuzz.py
"""

from __future__ import annotations

import io
import json
import shutil
import tempfile
import tomllib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from argon2 import PasswordHasher
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutated import mutated, share
from one_app import AppOf, browser_of
from PIL import Image
from sqlalchemy import text

from followup.care.house.account import LIFETIME
from followup.care.passwords import Passwords
from followup.cli.files import read_object
from followup.cli.rows import rows_of
from followup.cli.workplace import load_mail
from followup.clinical import protocol
from followup.clinical.protocol.load import load_protocol, read_protocol
from followup.clinical.record import parse_record
from followup.demo.cast import case_data
from followup.desks.door.hand import Desk
from followup.errors import FollowupError
from followup.language.catalogue_files import shipped, source_catalogue
from followup.language.languages import LANGUAGES
from followup.language.review_file import export_csv, import_csv
from followup.language.typed_days import typed_day
from followup.recall.codes.codes import new_sheet_id, qr_payload, read_scan, typed_code
from followup.recall.codes.keyboards import readings
from followup.recall.codes.keyring import Keyring, load_keyring, save_keyring
from followup.recall.codes.photos import read_photo
from followup.recall.jobs.daily import kept_seal
from followup.recall.messages.channels import load_gateway
from followup.records.house.staff import add_staff, open_session
from followup.records.jobs.backup import backups, take_backup, verify_file
from followup.records.views import SYSTEM
from followup.settings import load_settings
from followup.timing.calendar import parse_calendar

RECORDS = tuple(json.dumps(case_data(name)).encode() for name in ("01-wanjiru", "03-amina"))
TABLE = b"on,code,name,eye\r\n2027-03-01,C-0001,Wanjiru Ndegwa,right\r\n2027-03-01,C-0002,Li,left\r\n"
CALENDAR = (
    b'{"open_weekdays": ["monday", "friday"], "holidays": ["2027-03-05"], "services":'
    b' [{"name": "review", "weekdays": ["monday"], "capacity": 20}]}'
)
GATEWAY = (
    b'url = "https://gateway.example/send?to=$to"\nmethod = "POST"\nescape = "json"\n'
    b'body = "{\\"text\\": \\"$text\\"}"\n[headers]\nauthorization = "Bearer x"\n'
)
MAIL = b'host = "mail.example"\nport = 587\nsender = "clinic@example.org"\n'
DAYS = ("12 3 27", "12.3.2027", "3 mars 2027", "१२/३/२०२७", "today", "010327", "2027-03-12", "31 2 27")
BENGALI = LANGUAGES["bn"]
KEYS = Keyring("01", {"01": b"k" * 32})
TODAY = date(2027, 3, 1)


def _few(part: float, suite: int) -> Any:
    return settings(
        max_examples=share(part, suite=suite),
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )


def in_one_line(read: Callable[[], object]) -> object:
    """What was understood; else None, refused as people and programs are told it."""
    try:
        return read()
    except FollowupError as refused:
        _is_a_line(refused.line)
        return None


def _is_a_line(told: str) -> None:
    assert told.strip()
    assert len(told.splitlines()) == 1, told[:200]
    assert "Traceback" not in told
    assert len(told) < 1500


@dataclass(frozen=True)
class Read:
    """A file from outside: sound ones, and what reads it from a path."""

    sound: tuple[bytes, ...]
    read: Callable[[Path], object]
    suite: int = 25
    part: float = 0.06
    name: str = "given"


def _record(path: Path) -> object:
    return parse_record(*read_object(str(path)))


def _rows(path: Path) -> object:
    found = rows_of(path.read_bytes(), path.name)
    for row in found:
        if isinstance(row.says, str):
            _is_a_line(row.says)
    return found


def _key_file() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        save_keyring(Path(folder) / "keys.json", KEYS)
        return (Path(folder) / "keys.json").read_bytes()


def _table_of_words() -> bytes:
    found = shipped(BENGALI, "sheet")
    return export_csv(source_catalogue("sheet"), found.messages if found else {}, BENGALI)


FILES = {
    "record": Read(RECORDS, _record, suite=40, part=0.15),
    "list": Read((TABLE,), _rows, suite=30, part=0.15, name="list.csv"),
    "lines": Read((b"\n".join(RECORDS) + b"\n",), _rows, part=0.05, name="rows.jsonl"),
    "calendar": Read((CALENDAR,), lambda path: parse_calendar(*read_object(str(path))), part=0.1),
    "gateway": Read((GATEWAY,), load_gateway),
    "mail": Read((MAIL,), load_mail),
    "keys": Read((_key_file(),), load_keyring),
    "seal": Read((b'{"entries": 12, "hash": "' + b"ab" * 32 + b'"}',), kept_seal, part=0.03),
    "words": Read(
        (_table_of_words(),),
        lambda path: import_csv(path.read_bytes(), source_catalogue("sheet"), BENGALI, path.name),
        suite=3,
        part=0.02,
    ),
}


@pytest.mark.parametrize("kind", FILES)
def test_a_damaged_file_is_understood_or_refused_in_one_line(kind, tmp_path):
    file = FILES[kind]
    path = tmp_path / file.name
    path.touch(mode=0o600)
    for sound in file.sound:
        path.write_bytes(sound)
        assert file.read(path), "the sound one is not taken"

    @given(mutated(file.sound))
    @_few(file.part, file.suite)
    def damaged(data):
        path.write_bytes(data)
        in_one_line(lambda: file.read(path))

    damaged()


@pytest.mark.parametrize("kind", [kind for kind in FILES if kind != "words"])
def test_a_file_of_anything_at_all_is_refused_in_one_line(kind, tmp_path):
    file = FILES[kind]
    path = tmp_path / file.name
    path.touch(mode=0o600)

    @given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode())))
    @_few(0.01, 10)
    def anything(data):
        path.write_bytes(data)
        in_one_line(lambda: file.read(path))

    anything()


def _says(data: bytes) -> dict[str, Any]:
    return tomllib.loads(data.decode("utf-8-sig"))


def test_a_damaged_protocol_is_refused_by_file_in_one_line_and_never_half_taken(tmp_path):
    """One file of the folder at a time; what is taken has another hash, so that no signature fits it."""
    shipped_folder = Path(protocol.__file__).parents[1] / "data"
    folder = Path(shutil.copytree(shipped_folder, tmp_path / "own"))
    files = {path.name: path.read_bytes() for path in sorted(folder.glob("*.toml"))}
    signed = read_protocol(folder)[0].hash

    @given(st.data())
    @_few(0.004, 3)
    def damaged(data):
        name = data.draw(st.sampled_from(sorted(files)))
        changed = data.draw(mutated((files[name],)))
        (folder / name).write_bytes(changed)
        read = in_one_line(lambda: read_protocol(folder))
        (folder / name).write_bytes(files[name])
        # Comments and layout say nothing; whatever is said otherwise is another protocol.
        assert read is None or _says(changed) == _says(files[name]) or read[0].hash != signed

    damaged()


def test_a_damaged_backup_or_note_is_never_taken_for_a_whole_one(sqlite_ward, tmp_path):
    sqlite_ward.signed()
    taken = take_backup(sqlite_ward.store.engine, tmp_path / "kept", datetime(2027, 3, 2, tzinfo=UTC))
    sound, path = taken.path.read_bytes(), tmp_path / "given.sqlite3"
    note = next((tmp_path / "kept").glob("*.note.json"))
    noted = note.read_bytes()
    rows = verify_file(taken.path)

    @given(mutated((sound,)))
    @_few(0.02, 6)
    def damaged(data):
        path.write_bytes(data)
        found = in_one_line(lambda: verify_file(path))
        # A byte that holds nothing, between the rows, may be another one.
        assert found in (None, rows)

    @given(mutated((noted,)))
    @_few(0.05, 20)
    def beside(data):
        note.write_bytes(data)
        with suppress(FollowupError):
            assert {one.path for one in backups(tmp_path / "kept")} <= {taken.path}

    damaged()
    beside()


def test_a_scan_is_read_or_named_as_what_it_is_and_no_damaged_seal_is_taken():
    sheet = new_sheet_id()
    ours = qr_payload(sheet, KEYS, "RBE")
    sound = (ours.encode(), typed_code(sheet).encode())

    @given(_texts(sound, 60))
    @_few(0.1, 60)
    def scanned(text):
        for given_text in (text, *readings(text)):
            scan = read_scan(given_text, KEYS, "RBE")
            assert scan.outcome in ("ours", "other clinic") or scan.reason
            if scan.outcome == "ours" and scan.clinic:
                # Sealed: only the very code, however it is written, opens its own sheet.
                assert scan.sheet_id == sheet

    scanned()


@pytest.mark.parametrize("tag", ["en", "fr", "ar"])
def test_a_day_as_anybody_types_it_is_a_day_or_refused_in_one_line(tag):
    sound = tuple(day.encode() for day in DAYS)

    @given(_texts(sound, 30))
    @_few(0.04, 25)
    def typed(text):
        day = in_one_line(lambda: typed_day(text, TODAY, LANGUAGES[tag]))
        assert day is None or isinstance(day, date)

    typed()


VARIABLES = ("PORT", "HOST", "DATABASE_URL", "PROTOCOL", "FOLDER", "OUTBOX", "GATEWAY", "KEY_FILE", "MAIL")
VALUES = (b"postgresql+psycopg://u:p@h/n", b"8470", b"sqlite:////tmp/x")


def _texts(sound: tuple[bytes, ...], longest: int) -> Any:
    """Sound texts damaged, and anything at all."""
    return st.one_of(
        mutated(sound).map(lambda data: data.decode("utf-8", "replace")), st.text(max_size=longest)
    )


@given(st.dictionaries(st.sampled_from(VARIABLES), _texts(VALUES, 60), max_size=4))
@_few(0.05, 25)
def test_settings_from_anywhere_are_taken_or_refused_by_their_name(given_values):
    env = {f"FOLLOWUP_{name}": value for name, value in given_values.items()}
    in_one_line(lambda: load_settings(env))


def test_a_damaged_photo_is_no_picture_or_holds_no_code(tmp_path):
    pictures = []
    for kind in ("PNG", "JPEG", "GIF", "BMP", "TIFF"):
        made = io.BytesIO()
        Image.new("L", (60, 40), 200).save(made, kind)
        pictures.append(made.getvalue())

    @given(mutated(tuple(pictures)))
    @_few(0.005, 2)
    def damaged(data):
        with pytest.raises(FollowupError) as refused:
            read_photo(data, KEYS, "RBE")
        _is_a_line(refused.value.line)

    damaged()


UPLOADS: dict[str, tuple[tuple[bytes, ...], Callable[[Any, bytes], Any]]] = {
    "a record as a file": (
        RECORDS,
        lambda browser, data: browser.post(
            "/operations/paste", files={"file": ("a.json", data, "text/json")}
        ),
    ),
    "a record as JSON": (
        tuple(b'{"record": ' + record + b"}" for record in RECORDS),
        lambda browser, data: _json(browser, "POST", "/api/records", data),
    ),
    "a list as JSON": (
        (b'{"on": "2027-03-01", "lines": [{"code": "C-1", "name": "Li", "eye": "left"}]}',),
        lambda browser, data: _json(browser, "PUT", "/api/operations", data),
    ),
    "a calendar as JSON": (
        (b'{"calendar": ' + CALENDAR + b"}",),
        lambda browser, data: _json(browser, "PUT", "/api/calendar", data),
    ),
    "a form": (
        (b"on=2027-03-01&lines=C-1%2C+Li%2C+left&day%3Aon=near",),
        lambda browser, data: browser.post(
            "/operations/list", content=data, headers={"content-type": "application/x-www-form-urlencoded"}
        ),
    ),
    "a form in parts": (
        (
            b'--x\r\ncontent-disposition: form-data; name="text"\r\n\r\nLi\r\n--x\r\n'
            b'content-disposition: form-data; name="file"; filename="a"\r\n\r\n{}\r\n--x--\r\n',
        ),
        lambda browser, data: browser.post(
            "/operations/paste", content=data, headers={"content-type": "multipart/form-data; boundary=x"}
        ),
    ),
}


def _json(browser: Any, method: str, path: str, data: bytes) -> Any:
    return browser.request(method, path, content=data, headers={"content-type": "application/json"})


# The reader of forms leaves a part that it was reading to be closed by itself.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("kind", UPLOADS)
def test_a_damaged_upload_is_answered_in_words_and_leaves_nothing_behind(everybody, kind):
    sound, send = UPLOADS[kind]

    @given(mutated(sound))
    @_few(0.012, 6)
    def damaged(data):
        before = everybody.entries()
        answer = send(everybody.browser, data)
        assert answer.status_code < 500, answer.text[:300]
        if answer.status_code >= 400:
            assert everybody.entries() == before, "refused, and yet something was stored"
            assert len(answer.text) > 20
            assert "Traceback" not in answer.text

    damaged()


@pytest.fixture
def everybody(sqlite_store):
    """A browser of somebody with every role, in a clinic of nobody, and how long the journal is."""
    now = datetime(2027, 3, 1, 8, 30, tzinfo=UTC)
    roles = ["counsellor", "reception", "surgeon", "pharmacy", "manager"]
    with sqlite_store.write(SYSTEM, now) as unit:
        add_staff(unit, login="all", name="All", roles=roles, password_hash="-", registration="R-1")
        token = open_session(unit, login="all", lifetime=LIFETIME)
    cheap = Passwords(PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    desk = Desk(sqlite_store, load_protocol(), KEYS, lambda: now, cheap)
    browser = browser_of(AppOf(desk))
    browser.cookies.set("followup", token)

    def entries() -> int:
        with sqlite_store.read() as session:
            return session.execute(text("SELECT count(*) FROM journal")).scalar_one()

    return SimpleNamespace(browser=browser, entries=entries)
