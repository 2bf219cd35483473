"""Of which kind a text is: told as surgeons, counsellors and clerks write, common practice, no source (C)."""

from __future__ import annotations

import pytest

from followup.telling.lexicon import lexicon_of
from followup.telling.model import Telling
from followup.telling.reading import read_telling


def told(text: str) -> Telling:
    return read_telling(text, lexicon_of("en"), "right")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Plan for Thursday: right phaco, 2.4 mm, lens 21.5 in the bag.", "not done"),
        ("The right eye will get a phaco. The lens will be a 22 in the bag.", "not done"),
        ("Right eye, ten days after phaco. Wound tight, lens in the bag.", "not done"),
        ("You make a cut of 2.4 mm, you put the lens in the bag and you hydrate the wound.", "not done"),
        ("Right phaco, lens 21 in the bag. Surgery was postponed, her pressure was too high.", "not done"),
        ("Complaint. Right phaco, lens 21 in the bag, two stitches that hurt.", "not done"),
        ("Right viscocanalostomy, sub-Tenon, two nylon, implant lens in the bag.", "another operation"),
        ("Right eye, dacryocystectomy, three stitches, lens implant in the bag.", "another operation"),
        ("Right washout of yesterday's phaco wound, two 10-0 nylon, lens in the bag.", "another operation"),
        ("Right eye, bandage lens, pad until tomorrow.", "nothing"),
    ],
)
def test_a_text_that_tells_no_operation_on_a_lens_as_done_is_refused(text, code):
    refused = told(text).refused
    assert refused is not None
    assert refused.code == code


@pytest.mark.parametrize(
    "text",
    [
        "Right phaco after an old trabeculectomy, lens 21 in the bag, rhexis 5, capsule intact, cefuroxime.",
        "Right phaco, lens 21 in the bag. Plan: drops tonight. Pad off tomorrow. She will come again.",
        "Right phaco with iridectomy, lens 21 in the bag.",
        "Right phaco, lens 21 in the bag. If she complains, laser.",
        "RE: phaco, lens 21 in the bag.",
        "Right phaco, lens 21 in the bag. The left was cancelled.",
    ],
)
def test_an_operation_that_was_done_is_read_beside_what_is_to_come_or_long_ago(text):
    assert told(text).read["operation.lens"] == "bag"


@pytest.mark.parametrize(
    "text",
    [
        "Right eye. Lens 21 in the bag, capsule intact.",
        "Right trabeculectomy with phaco, lens in the bag.",
        "Right phaco. I will put the lens in the bag. Capsule intact. No stitch. Pad.",
    ],
)
def test_where_the_kind_is_not_sure_each_field_is_asked(text):
    found = told(text)
    assert found.refused is None
    assert found.read == {}
    assert "kind" in {one.why for one in found.fields}
