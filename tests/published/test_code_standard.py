"""QR codes against the capacities of ISO/IEC 18004 and a second decoder, independent of the first."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import zxingcpp
from stdnum.iso7064 import mod_37_36

from followup.errors import FollowupError
from followup.recall.codes.check_characters import CHARACTERS, check_character, is_complete
from followup.sheets.paper.qr import QUIET_ZONE, RETURN_MM, QrPicture, qr_picture, return_picture

# ISO/IEC 18004, table of capacities: bytes at level M by version (S). Lower case keeps byte mode.
BYTES_AT_M = {1: 14, 2: 26, 3: 42, 4: 62, 5: 84, 6: 106, 7: 122, 8: 152, 9: 180, 10: 213}
# The same table, alphanumeric mode at level M (S): capitals, digits and nine signs.
ALPHANUMERIC_AT_M = {1: 20, 2: 38, 3: 61, 4: 90, 5: 122, 6: 154, 7: 178, 8: 221, 9: 262, 10: 311}
# The same table at level Q (S), as far as 25 mm with the quiet zone leave half a millimetre a module.
BYTES_AT_Q = {1: 11, 2: 20, 3: 32, 4: 46, 5: 60, 6: 74}
ALPHANUMERIC_AT_Q = {1: 16, 2: 29, 3: 47, 4: 67, 5: 87, 6: 108}


def bitmap(picture: QrPicture, module: int = 8) -> np.ndarray:
    """The picture's dark modules, drawn from its own path."""
    dark = np.full((picture.modules, picture.modules), 255, np.uint8)
    path = picture.svg.rpartition('d="')[2].partition('"')[0]
    for run in path.split("M")[1:]:
        place, _, lengths = run.partition("h")
        x, y = map(int, place.split())
        dark[y, x : x + int(lengths.partition("v")[0])] = 0
    return np.kron(dark, np.ones((module, module), np.uint8))


@pytest.mark.parametrize("version", BYTES_AT_M)
def test_iso_18004_a_code_has_the_side_of_the_smallest_version_that_holds_its_bytes(version):
    side = 17 + 4 * version + 2 * QUIET_ZONE
    assert QUIET_ZONE == 4, "the standard wants four light modules around the code"
    assert qr_picture("a" * BYTES_AT_M[version]).modules == side
    if version + 1 in BYTES_AT_M:
        assert qr_picture("a" * (BYTES_AT_M[version] + 1)).modules == side + 4


@pytest.mark.parametrize("version", [v for v, most in ALPHANUMERIC_AT_M.items() if most <= 213])
def test_iso_18004_capitals_and_digits_take_the_denser_mode(version):
    assert qr_picture("A" * ALPHANUMERIC_AT_M[version]).modules == 17 + 4 * version + 2 * QUIET_ZONE


@pytest.mark.parametrize("version", BYTES_AT_Q)
def test_iso_18004_the_return_code_has_the_smallest_version_that_holds_its_text_at_level_q(version):
    side = 17 + 4 * version + 2 * QUIET_ZONE
    assert return_picture("a" * BYTES_AT_Q[version]).modules == side
    if ALPHANUMERIC_AT_Q[version] <= BYTES_AT_Q[6]:
        assert return_picture("A" * ALPHANUMERIC_AT_Q[version]).modules == side
    if version + 1 in BYTES_AT_Q:
        assert return_picture("a" * (BYTES_AT_Q[version] + 1)).modules == side + 4
    assert RETURN_MM / side >= 0.5


@pytest.mark.parametrize(
    ("drawn", "longest"), [(qr_picture, BYTES_AT_M[10]), (return_picture, BYTES_AT_Q[6])]
)
def test_a_text_longer_than_the_largest_code_holds_is_refused(drawn, longest):
    assert drawn("a" * longest)
    with pytest.raises(FollowupError, match=f"this text has {longest + 1}"):
        drawn("a" * (longest + 1))


@pytest.mark.parametrize(
    ("drawn", "level", "payload"),
    [
        (return_picture, "Q", "RTN1017KQ2MX4D9T4F7Q2M8CRIVERBND"),
        (return_picture, "Q", "a" * 74),
        (qr_picture, "M", "tel:+442079460101"),
        (qr_picture, "M", "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR"),
        (qr_picture, "M", "https://192.168.1.20:8443/s/7KQ2MX4D9TA"),
        (qr_picture, "M", "a" * 213),
    ],
)
def test_two_decoders_of_different_makers_read_the_same(drawn, level, payload):
    picture = bitmap(drawn(payload))
    (first,) = zxingcpp.read_barcodes(picture)
    assert first.ec_level == level
    second, corners, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert corners is not None
    assert first.text == payload
    assert second == payload


@pytest.mark.parametrize("text", ["A12425GABC1234002", "0", "Z", "7KQ2MX4D9", "ABCDEFGHIJKLMNOPQRSTUVWXYZ"])
def test_iso_7064_the_check_character_is_that_of_an_independent_library(text):
    assert check_character(text) == mod_37_36.calc_check_digit(text)
    assert mod_37_36.is_valid(text + check_character(text))
    for wrong in set(CHARACTERS) - {check_character(text)}:
        assert not mod_37_36.is_valid(text + wrong)
        assert not is_complete(text + wrong)
