"""A scanned code opens only if every part that its tag covers is whole; a typed one only without a slip.

The tag is HMAC-SHA-256 over all the rest, cut to 40 bits. It is worked out here once more, from the list of
what it covers.
"""

from __future__ import annotations

import base64
import hashlib
import hmac

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.recall.codes import codes
from followup.recall.codes.codes import Keyring, qr_payload, read_scan, typed_code

KEY, OTHER_KEY = bytes(range(32)), bytes(range(1, 33))
RING = Keyring("01", {"01": KEY})
SHEET, CLINIC = "7K3M9QX2PD", "RBE"
# Everything that a scanner or a keyboard can make of one character, none of which is taken for another.
CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ$%*+./:!?éß١"
# The bits of five and the 32 characters: RFC 4648 writes them with its own, which are exchanged one by one.
THEIRS, OURS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567", "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

# What the tag covers, in the order in which it is read, with its place in the code. The tag itself stands
# in the places 16 to 23.
COVERED = {
    "prefix": (slice(0, 3), "RTN"),
    "version of the layout": (slice(3, 4), "1"),
    "id of the key": (slice(4, 6), "01"),
    "id of the sheet": (slice(6, 16), SHEET),
    "the clinic's code": (slice(24, None), CLINIC),
}


def _in_32_characters(first_40_bits: bytes) -> str:
    return base64.b32encode(first_40_bits).decode().translate(str.maketrans(THEIRS, OURS))


def _seal(covered: str, key: bytes = KEY) -> str:
    return _in_32_characters(hmac.new(key, covered.encode(), hashlib.sha256).digest()[:5])


def test_the_tag_covers_every_part_of_the_code_but_itself():
    payload = qr_payload(SHEET, RING, CLINIC)
    assert len(payload) == 3 + 1 + 2 + 10 + 8 + 3
    for part, (place, holds) in COVERED.items():
        assert payload[place] == holds, f"the {part} stands elsewhere"
    assert payload[16:24] == _seal("".join(holds for _, holds in COVERED.values()))


# RFC 4231, test cases 1, 2 and 6: key, data, and the first 40 bits of HMAC-SHA-256.
@pytest.mark.parametrize(
    ("key", "data", "begins"),
    [
        (b"\x0b" * 20, "Hi There", "b0344c61d8"),
        (b"Jefe", "what do ya want for nothing?", "5bdcc146bf"),
        (b"\xaa" * 131, "Test Using Larger Than Block-Size Key - Hash Key First", "60e431591e"),
    ],
)
def test_rfc_4231_the_tag_is_hmac_sha_256_cut_to_40_bits(key, data, begins):
    for parts in ((data, "", ""), (data[:3], data[3:5], data[5:])):
        assert codes._tag(key, *parts) == _in_32_characters(bytes.fromhex(begins))


def _opens(text: str, ring: Keyring = RING) -> bool:
    found = read_scan(text, ring, CLINIC)
    assert (found.outcome == "ours") is (found.sheet_id is not None)
    return found.outcome == "ours"


def test_any_one_character_changed_closes_the_code():
    payload = qr_payload(SHEET, RING, CLINIC)
    assert _opens(payload)
    for at, right in enumerate(payload):
        for wrong in CHARACTERS.replace(right, ""):
            assert not _opens(payload[:at] + wrong + payload[at + 1 :]), f"{right} read as {wrong} at {at}"


def test_cut_padded_or_with_exchanged_characters_it_is_refused():
    payload = qr_payload(SHEET, RING, CLINIC)
    # The id alone with its check character would be a typed code: that is another paper's business.
    for length in range(len(payload)):
        assert not _opens(payload[:length]), f"cut to {payload[:length]}"
        assert not _opens(payload[length + 1 :]), f"cut to {payload[length + 1 :]}"
        assert not _opens(payload[:length] + payload[length + 1 :]), f"without its place {length}"
        for more in "0A9RZ":
            assert not _opens(payload[:length] + more + payload[length:]), f"{more} at {length}"
    for more in ("0", "RBE", "ABCDE", "A" * 6, "0" * 500):
        assert not _opens(payload + more), f"padded with {more[:6]}"
    for one in range(len(payload)):
        for other in range(one + 1, len(payload)):
            swapped = list(payload)
            swapped[one], swapped[other] = swapped[other], swapped[one]
            if "".join(swapped) != payload:
                assert not _opens("".join(swapped)), f"places {one} and {other} exchanged"


def test_no_part_of_one_sheet_fits_into_the_code_of_another():
    mine = qr_payload(SHEET, RING, CLINIC)
    older = Keyring("02", {"01": KEY, "02": OTHER_KEY})
    others = {
        "another sheet": (qr_payload("9QX2PD7K3M", RING, CLINIC), RING),
        "another key": (qr_payload(SHEET, older, CLINIC), older),
    }
    for whose, (other, ring) in others.items():
        assert _opens(other, ring)
        for part, (place, _) in {**COVERED, "tag": (slice(16, 24), "")}.items():
            if other[place] != mine[place]:
                mixed = list(mine)
                mixed[place] = list(other[place])
                assert not _opens("".join(mixed), ring), f"with {part} of {whose}"


@pytest.mark.parametrize(
    ("what", "covered", "outcome"),
    [
        # Each sealed with our own key, so that nothing but the named part is wrong.
        ("a later layout", "RTN2" + "01" + SHEET + "|" + CLINIC, "wrong tag"),
        ("an earlier layout", "RTN0" + "01" + SHEET + "|" + CLINIC, "wrong tag"),
        ("a key that is not here", "RTN1" + "02" + SHEET + "|" + CLINIC, "wrong tag"),
        ("another clinic", "RTN1" + "01" + SHEET + "|" + "HILL", "other clinic"),
        ("no clinic", "RTN1" + "01" + SHEET + "|", "not a code"),
        ("a clinic of nine characters", "RTN1" + "01" + SHEET + "|" + "RBERBERBE", "not a code"),
    ],
)
def test_a_part_that_is_not_ours_is_refused_even_under_our_own_seal(what, covered, outcome):
    before, after = covered.split("|")
    found = read_scan(before + _seal(before + after) + after, RING, CLINIC)
    assert (found.outcome, found.sheet_id) == (outcome, None), what


@pytest.mark.parametrize("key", [OTHER_KEY, b"", KEY[:-1], KEY + b"1", b"\0" * 32])
def test_a_tag_of_another_key_under_the_same_id_is_refused(key):
    covered = "RTN101" + SHEET + CLINIC
    forged = "RTN101" + SHEET + _seal(covered, key) + CLINIC
    assert read_scan(forged, RING, CLINIC).outcome == "wrong tag"


def test_an_older_key_opens_what_it_sealed_and_seals_nothing_new():
    ring = Keyring("02", {"01": KEY, "02": OTHER_KEY})
    assert qr_payload(SHEET, ring, CLINIC)[4:6] == "02"
    assert _opens(qr_payload(SHEET, RING, CLINIC), ring)
    # The tag of the new key under the id of the old one is nobody's.
    assert not _opens("RTN101" + SHEET + _seal("RTN101" + SHEET + CLINIC, OTHER_KEY) + CLINIC, ring)
    assert not _opens(qr_payload(SHEET, ring, CLINIC), RING)


def test_a_tag_is_compared_in_the_same_time_wherever_it_differs(monkeypatch):
    compared = []

    def spy(one, other):
        compared.append((one, other))
        return one == other

    monkeypatch.setattr(codes.hmac, "compare_digest", spy)
    right = _seal("RTN101" + SHEET + CLINIC)
    wrong = right[:-1] + ("0" if right[-1] != "0" else "1")
    for tag, opens in ((right, True), (wrong, False)):
        assert _opens("RTN101" + SHEET + tag + CLINIC) is opens
    assert compared == [(right, right), (wrong, right)]


@pytest.mark.parametrize("between", ["", "-", " ", "\t", "\r\n", "\u2013", "\u00a0"])
def test_capitals_and_what_stands_between_groups_make_no_difference(between):
    payload = between.join(qr_payload(SHEET, RING, CLINIC))
    assert _opens(payload)
    assert _opens(payload.lower())


@pytest.mark.parametrize("clinic", ["A", "RBE", "12345678"])
def test_the_smallest_square_holds_the_code_of_the_longest_clinic(clinic):
    payload = qr_payload(SHEET, RING, clinic)
    # ISO/IEC 18004, alphanumeric mode, version 2 at level M: 38 characters of these.
    assert set(payload) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
    assert len(payload) == 24 + len(clinic) <= 38


# Typed: ISO/IEC 7064, MOD 37,36 finds any one wrong character and any exchange of neighbours.
def test_any_one_character_mistyped_is_refused():
    code = typed_code(SHEET).replace("-", "")
    assert _opens(code)
    for at, right in enumerate(code):
        for wrong in CHARACTERS.replace(right, ""):
            assert not _opens(code[:at] + wrong + code[at + 1 :]), f"{right} typed as {wrong} at {at}"


@given(st.sampled_from(["7K3M9QX2PD", "RTN12D3K2F", "0000000001", "ZZZZZZZZ9Z"]), st.integers(0, 9))
def test_two_neighbours_exchanged_or_a_character_lost_or_doubled_is_refused(sheet, at):
    code = typed_code(sheet).replace("-", "")
    exchanged = code[:at] + code[at + 1] + code[at] + code[at + 2 :]
    assert exchanged == code or not _opens(exchanged)
    assert not _opens(code[:at] + code[at + 1 :])
    assert not _opens(code[: at + 1] + code[at:])
