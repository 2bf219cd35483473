"""A scanner's burst through a computer that is set to another keyboard."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scanner import typed_on

from followup.recall.codes.alphabet import ALPHABET
from followup.recall.codes.codes import new_sheet_id, qr_payload, read_scan
from followup.recall.codes.keyboards import LAYOUTS, readings
from followup.recall.codes.keyring import Keyring


@pytest.mark.parametrize("layout", sorted(LAYOUTS))
def test_a_burst_is_read_through_every_layout(layout):
    keyring, sheet = Keyring.fresh(), new_sheet_id()
    sent = qr_payload(sheet, keyring, "RBE")
    burst = typed_on(layout, sent)
    # A German keyboard only changes Y and Z over; each of the others changes what every code holds.
    assert burst != sent or (layout, {"Y", "Z"} & set(sent)) == ("German", set())
    assert sheet in {read_scan(text, keyring, "RBE").sheet_id for text in readings(burst)}


@pytest.mark.parametrize("layout", sorted(LAYOUTS))
@given(text=st.text(alphabet=ALPHABET + "ILOU", max_size=40))
def test_every_letter_and_digit_comes_back(layout, text):
    assert text in set(readings(typed_on(layout, text)))


def test_the_keys_of_a_french_computer_are_those_of_the_layout():
    # From memory of the AZERTY layout: the digits' keys type these signs without shift.
    assert typed_on("French", "1234567890") == "&é\"'(-è_çà"
    assert typed_on("French", "QWAZM") == "AZQW?"


def test_a_burst_with_one_key_wrong_is_not_ours():
    keyring, sheet = Keyring.fresh(), new_sheet_id()
    payload = qr_payload(sheet, keyring, "RBE")
    spoiled = typed_on("French", payload[:8] + ("2" if payload[8] == "3" else "3") + payload[9:])
    assert all(read_scan(text, keyring, "RBE").sheet_id is None for text in readings(spoiled))
