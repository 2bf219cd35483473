"""What is handed in just before, at and after each limit of its size, and names that would leave a folder."""

from __future__ import annotations

import asyncio
import io
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from starlette.exceptions import HTTPException

from followup.cli import files, rows
from followup.clinical.record import parse_json_object
from followup.clinical.record.patient import Patient
from followup.desks.app import _most
from followup.desks.door.size import BoundedBody
from followup.desks.page import posted
from followup.errors import FollowupError
from followup.recall.codes import photos
from followup.recall.codes.codes import Keyring

# Bytes, by what is sent: one photo is at most 12 MB, JSON 1 MB.
LIMITS = {
    "/": 13_000_000,
    "/log-in": 13_000_000,
    "/window/photo": 13_000_000,
    "/operations/paste": 13_000_000,
    "/apiary": 13_000_000,
    "/api/photo": 13_000_000,
    "/api/operations": 1_000_000,
    "/api/photo/other": 1_000_000,
    "/operations/tables": 21_000_000,
}


def _run(work):
    """What ``work`` comes to, in a thread of its own: a browser open in this one has its loop running."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


def _sent(path, pieces, *, length=None):
    """The status of an answer to a body in pieces, and how many bytes of it were read."""
    taken, answers = [], []
    waiting = [
        {"type": "http.request", "body": piece, "more_body": number + 1 < len(pieces)}
        for number, piece in enumerate(pieces)
    ]

    async def receive():
        return waiting.pop(0)

    async def send(message):
        answers.append(message)

    async def app(scope, receive, send):
        more = True
        while more:
            message = await receive()
            taken.append(len(message["body"]))
            more = message["more_body"]
        await send({"type": "http.response.start", "status": 200, "headers": []})

    headers = [] if length is None else [(b"content-length", str(length).encode())]
    scope = {"type": "http", "path": path, "headers": headers}
    try:
        _run(BoundedBody(app, most=_most)(scope, receive, send))
    except HTTPException as exc:
        return exc.status_code, sum(taken)
    return answers[0]["status"], sum(taken)


@pytest.mark.parametrize(("path", "most"), LIMITS.items())
@pytest.mark.parametrize("said", [True, False])
def test_a_body_is_taken_up_to_its_limit_whether_or_not_it_says_how_long_it_is(path, most, said):
    half = most // 2
    for length, status in ((most - 1, 200), (most, 200), (most + 1, 413)):
        pieces = [b"x" * half, b"x" * (length - half)]
        found, read = _sent(path, pieces, length=length if said else None)
        assert found == status, f"{length} bytes to {path}"
        assert read == (length if status == 200 else 0 if said else half)


@pytest.mark.parametrize("length", ["9" * 19, "9" * 20, "9" * 5000])
def test_a_length_of_absurdly_many_digits_is_too_long(length):
    assert _sent("/", [b"x"], length=length)[0] == 413


@pytest.mark.parametrize(("length", "code"), [(12_000_000, "photo.code"), (12_000_001, "photo.size")])
def test_a_photo_is_looked_at_up_to_twelve_megabytes(monkeypatch, length, code):
    monkeypatch.setattr(photos, "_texts", lambda photo: [])
    with pytest.raises(FollowupError) as caught:
        photos.read_photo(b"x" * length, Keyring.fresh(), "RBE")
    assert caught.value.code == code


@pytest.mark.parametrize(("length", "taken"), [(1_999_999, True), (2_000_000, True), (2_000_001, False)])
def test_an_uploaded_file_is_read_up_to_two_megabytes(length, taken):
    async def read(most):
        return (b"x" * length)[:most]

    file = SimpleNamespace(read=read, filename="list.json")
    if taken:
        assert len(_run(posted._text_of(file))) == length
        return
    with pytest.raises(FollowupError) as caught:
        _run(posted._text_of(file))
    assert (caught.value.code, caught.value.where) == ("form.file", "list.json")


@pytest.mark.parametrize(("length", "taken"), [(1_000_000, True), (1_000_001, False)])
def test_a_record_is_read_up_to_a_million_characters(length, taken):
    text = '{"a": "' + "x" * (length - 9) + '"}'
    assert len(text) == length
    if taken:
        assert set(parse_json_object(text, "record.json")) == {"a"}
        return
    with pytest.raises(FollowupError) as caught:
        parse_json_object(text, "record.json")
    assert caught.value.code == "json.size"


@pytest.mark.parametrize("name", ["-", "a file"])
def test_a_file_is_read_up_to_what_it_may_hold(tmp_path, monkeypatch, name):
    def read(content):
        path = tmp_path / "in"
        path.write_bytes(content)
        monkeypatch.setattr(files.sys, "stdin", SimpleNamespace(buffer=io.BytesIO(content)))
        return files.read_bytes("-" if name == "-" else str(path), 10)

    assert [len(read(b"x" * length)) for length in (0, 9, 10)] == [0, 9, 10]
    with pytest.raises(FollowupError) as caught:
        read(b"x" * 11)
    assert caught.value.code == "file.size"


def test_five_thousand_rows_are_imported_at_once_and_not_one_more():
    assert (rows.MOST_ROWS, rows.MOST_BYTES) == (5_000, 50_000_000)
    assert len(rows.rows_of(b"{}\n" * 5_000, "in.jsonl")) == 5_000
    with pytest.raises(FollowupError) as caught:
        rows.rows_of(b"{}\n" * 5_001, "in.jsonl")
    assert caught.value.code == "import.size"


# A patient's code is the name of files: nothing in it leads out of the folder.
@pytest.mark.parametrize("code", ["K", "K-1", "0", "a" * 24, "K--", "NB-5822"])
def test_a_code_of_letters_digits_and_hyphens_is_taken(code):
    assert Patient.model_validate({"code": code, "name": "Wanjiru", "birth_year": 1955}).code == code


@pytest.mark.parametrize(
    "code",
    [
        "",
        "-K",
        "a" * 25,
        "../x",
        "a/b",
        "a\\b",
        ".",
        "..",
        "K.1",
        "K 1",
        "K\nL",
        "K\0",
        "~",
        "क-1",
        "K:1",
        "CON.",
        "K%2F",
    ],
)
def test_a_code_that_could_lead_out_of_a_folder_is_refused(code):
    with pytest.raises(ValueError, match="code"):
        Patient.model_validate({"code": code, "name": "Wanjiru", "birth_year": 1955})


def test_a_cell_of_an_imported_table_is_what_went_out():
    content = "on,code,name,eye\n2027-03-08,K-1,'=Wanjiru,left\n2027-03-08,K-2,'tis,right\n"
    assert [row.says.name for row in rows.rows_of(content.encode(), "list.csv")] == ["=Wanjiru", "'tis"]
