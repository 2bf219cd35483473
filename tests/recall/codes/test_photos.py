"""A photo of the sheet: one code is found, everything else is refused in words and nothing is kept."""

from __future__ import annotations

import io

import pytest
import qrcode
from PIL import Image

from followup.errors import FollowupError
from followup.recall.codes.codes import new_sheet_id, qr_payload
from followup.recall.codes.keyring import Keyring
from followup.recall.codes.photos import MOST_BYTES, read_photo

KEYRING = Keyring.fresh()


def _photo(*texts: str, turned: int = 0, kind: str = "JPEG") -> bytes:
    """A grey table with the codes lying on it side by side."""
    picture = Image.new("RGB", (520 * max(1, len(texts)), 560), (170, 165, 160))
    for i, text in enumerate(texts):
        code = qrcode.make(text, box_size=8).convert("RGB").resize((420, 420))
        picture.paste(code, (50 + 520 * i, 60))
    out = io.BytesIO()
    picture.rotate(turned, expand=True, fillcolor=(170, 165, 160)).save(out, kind)
    return out.getvalue()


def _code(sheet: str | None = None) -> str:
    return qr_payload(sheet or new_sheet_id(), KEYRING, "RBE")


@pytest.mark.parametrize(("turned", "kind"), [(0, "JPEG"), (17, "PNG"), (90, "JPEG")])
def test_a_sheet_is_found_in_a_photo_however_it_is_held(turned, kind):
    sheet = new_sheet_id()
    assert read_photo(_photo(_code(sheet), turned=turned, kind=kind), KEYRING, "RBE").sheet_id == sheet


def test_the_same_sheet_twice_is_one_sheet():
    code = _code()
    assert read_photo(_photo(code, code), KEYRING, "RBE").outcome == "ours"


@pytest.mark.parametrize(
    ("photo", "problem"),
    [
        (_photo(_code(), _code()), "photo.two"),
        (_photo(), "photo.code"),
        (_photo("MATMSG:TO:somebody;"), "photo.code"),
        (b"no picture at all", "photo.picture"),
        (b"", "photo.picture"),
        (b"\0" * (MOST_BYTES + 1), "photo.size"),
    ],
    ids=["two sheets", "nothing in it", "another code", "text", "empty", "too large"],
)
def test_what_is_not_one_sheet_is_refused_in_words(photo, problem):
    with pytest.raises(FollowupError) as refused:
        read_photo(photo, KEYRING, "RBE")
    assert refused.value.code == problem
    assert refused.value.fix


def test_beside_the_sheet_of_another_clinic_ours_is_read():
    sheet, other = new_sheet_id(), qr_payload(new_sheet_id(), Keyring.fresh(), "OTHER")
    scan = read_photo(_photo(other, _code(sheet)), KEYRING, "RBE")
    assert (scan.outcome, scan.sheet_id) == ("ours", sheet)


def test_a_sheet_of_another_clinic_is_named_as_such():
    scan = read_photo(_photo(qr_payload(new_sheet_id(), Keyring.fresh(), "OTHER")), KEYRING, "RBE")
    assert scan.outcome == "other clinic"


def test_a_picture_that_claims_to_be_enormous_is_refused_before_it_fills_the_memory():
    out = io.BytesIO()
    Image.new("1", (12_000, 12_000)).save(out, "PNG")
    with pytest.raises(FollowupError, match="no picture that can be read"):
        read_photo(out.getvalue(), KEYRING, "RBE")
