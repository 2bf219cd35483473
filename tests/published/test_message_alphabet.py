"""Parts of a text message: 3GPP TS 23.038 and 23.040, each character against a codec of the mapping."""

from __future__ import annotations

import pytest
from gsm0338 import Codec

from followup.recall.messages.segments import segments

CODEC = Codec()


def places(character: str) -> int | None:
    """How many places of seven bits the reference mapping gives a character; None: it has none."""
    try:
        return len(CODEC.encode(character)[0])
    except UnicodeError:
        return None


def test_ts_23_038_every_character_of_the_basic_plane_takes_the_places_of_the_published_mapping():
    seven_bit = 0
    for point in [*range(0xD800), *range(0xE000, 0x10000)]:
        character, reference = chr(point), places(chr(point))
        found = segments(character)
        if reference is None or character == "\x1b":
            # The escape is no character of its own: alone it is not written at all.
            assert found.alphabet == "UCS-2", hex(point)
            assert found.units == 1, hex(point)
        else:
            seven_bit += 1
            assert (found.alphabet, found.units) == ("GSM-7", reference), hex(point)
    # 127 characters of the default alphabet without the escape, 10 of its extension table.
    assert seven_bit == 137


# TS 23.040: 140 octets a part, six of them a header where parts are joined.
@pytest.mark.parametrize(
    ("text", "count"),
    [
        *(("a" * 160, 1), ("a" * 161, 2), ("a" * 306, 2), ("a" * 307, 3)),
        *(("ñ" * 160, 1), ("€" * 80, 1), ("€" * 81, 2), ("न" * 70, 1), ("न" * 71, 2)),
        *(("न" * 134, 2), ("न" * 135, 3), ("a" * 69 + "न", 1), ("a" * 70 + "न", 2)),
        # 153 places are odd: a sign of two places does not end half in one part, half in the next.
        *(("€" * 76 + "a" + "€" * 76, 2), ("a" + "€" * 152, 2), ("€" * 153, 3)),
        # Outside the basic plane a character takes two places of UCS-2, and 67 are odd as well.
        *(("👁" * 35, 1), ("👁" * 36, 2), ("👁" * 66, 2), ("👁" * 67, 3)),
    ],
)
def test_ts_23_040_a_message_is_sent_in_so_many_parts(text, count):
    assert segments(text).count == count
