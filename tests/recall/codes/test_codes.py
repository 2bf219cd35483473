"""Recall codes as they are typed and scanned."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.recall.codes.codes import Keyring, new_sheet_id, qr_payload, read_scan, typed_code

RING = Keyring.fresh()
QR_ALPHANUMERIC = set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
SHEET = "7K3M9QX2PD"


def test_a_typed_code_gives_back_its_sheet():
    found = read_scan(typed_code(SHEET), RING, "RBE")
    assert (found.outcome, found.sheet_id) == ("ours", SHEET)


def test_a_typed_code_is_read_whatever_its_case_blanks_and_hyphens():
    code = typed_code(SHEET)
    for written in (
        code.lower(),
        code.replace("-", " "),
        f"  {code}\n",
        " ".join(code),
        code.replace("-", "–"),
    ):
        assert read_scan(written, RING, "RBE").sheet_id == SHEET


def test_a_scanned_code_gives_back_its_sheet():
    found = read_scan(qr_payload(SHEET, RING, "RBE"), RING, "RBE")
    assert (found.outcome, found.sheet_id, found.clinic) == ("ours", SHEET, "RBE")


def test_a_letter_that_never_stands_in_a_code_is_named_as_the_mistake():
    for letter in "ILOU":
        found = read_scan(letter + typed_code(SHEET).replace("-", "")[1:], RING, "RBE")
        assert found.outcome == "wrong check character"
        assert "I, L, O and U" in found.reason


def test_a_code_of_another_clinic_is_known_as_such():
    found = read_scan(qr_payload(SHEET, Keyring.fresh(), "HILL"), RING, "RBE")
    assert (found.outcome, found.clinic, found.sheet_id) == ("other clinic", "HILL", None)


def test_a_code_sealed_with_another_key_is_refused_as_forged():
    found = read_scan(qr_payload(SHEET, Keyring.fresh(), "RBE"), RING, "RBE")
    assert (found.outcome, found.sheet_id) == ("wrong tag", None)


def test_old_sheets_stay_readable_after_the_key_was_changed():
    old = qr_payload(SHEET, RING, "RBE")
    newer = RING.rotated().rotated()
    assert read_scan(old, newer, "RBE").sheet_id == SHEET
    new = qr_payload(SHEET, newer, "RBE")
    assert new != old
    assert read_scan(new, newer, "RBE").sheet_id == SHEET
    assert read_scan(new, RING, "RBE").outcome == "wrong tag"


@pytest.mark.parametrize(
    "text",
    ["", " ", "hello", "https://example.org/x", "RTN", "১২৩৪৫৬৭৮৯০১", "A" * 5000, "K-1", "0" * 12, "\x00"],
)
def test_what_is_no_code_is_called_so_in_one_sentence(text):
    found = read_scan(text, RING, "RBE")
    assert found.outcome == "not a code"
    assert found.reason
    assert "\n" not in found.reason


@given(st.text(max_size=60))
def test_reading_any_text_never_fails_and_never_invents_a_sheet(text):
    found = read_scan(text, RING, "RBE")
    assert (found.sheet_id is not None) == (found.outcome == "ours")


@given(st.text(QR_ALPHANUMERIC, min_size=12, max_size=40).map(lambda rest: "RTN1" + rest))
def test_nobody_can_seal_a_code_without_the_key(payload):
    assert read_scan(payload, RING, "RBE").outcome != "ours"


def test_a_typed_code_may_begin_like_a_scanned_one():
    found = read_scan("RTN1-2D3K-2FN", RING, "RBE")
    assert (found.outcome, found.sheet_id) == ("ours", "RTN12D3K2F")


def test_an_id_is_fifty_random_bits_in_ten_characters_and_nothing_of_the_patient():
    for number, written in (
        ((0b00001_00010 << 40) + 1, "1200000001"),
        (2**50 - 1, "ZZZZZZZZZZ"),
        (31, "000000000Z"),
    ):
        asked = []

        def bits(count, number=number, asked=asked):
            asked.append(count)
            assert len(asked) == 1, "the first can be read and checked: no other is drawn"
            return number

        assert new_sheet_id(bits) == written
        assert asked == [50]


def test_ten_thousand_ids_are_all_different():
    assert len({new_sheet_id() for _ in range(10_000)}) == 10_000
