"""The protocol on paper: whether it is signed stands above its rules, with a place to sign until then."""

from __future__ import annotations

import pypdfium2
import pytest
from printed import read

from followup.clinical.protocol.load import load_protocol
from followup.sheets.paper.protocol_print import protocol_pdf

PROTOCOL = load_protocol()
APPROVE = "I have read every page of this protocol and approve it for patients of our clinic."


NOTICE = "Not approved for patients until a licensed clinician of the clinic has signed it."


@pytest.fixture(scope="module")
def unsigned() -> bytes:
    return protocol_pdf(PROTOCOL)


def test_an_unsigned_protocol_says_so_first_and_has_a_place_to_sign(unsigned):
    (first,) = read(unsigned, only=1)
    assert f"{NOTICE} {APPROVE} name and signature registration date 1. " in first.flat
    lines = [s for s in first.shapes if s.edge and s.height < 2 and 100 < s.width < 220]
    assert len(lines) == 3
    assert len({round(line.y) for line in lines}) == 1


def test_a_signed_one_names_who_signed_and_has_no_place_left():
    (first,) = read(protocol_pdf(PROTOCOL, signed="Signed by Dr Sen, R-1"), only=1)
    assert "Signed by Dr Sen, R-1 1. " in first.flat
    assert NOTICE not in first.flat
    assert APPROVE not in first.flat
    assert not [s for s in first.shapes if s.edge and s.height < 2]


def test_every_page_has_its_number_and_the_fingerprint(unsigned):
    groups = " ".join(PROTOCOL.hash[at : at + 4] for at in (0, 4, 8, 12))
    document = pypdfium2.PdfDocument(unsigned)
    try:
        pages = [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    finally:
        document.close()
    assert len(pages) > 5
    for number, page in enumerate(pages, 1):
        assert page.endswith(f"fingerprint {groups} page {number} of {len(pages)}")
    assert f"Fingerprint {groups}" in pages[0]
