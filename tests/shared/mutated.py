"""Files as they come damaged, by chance or on purpose: sound bytes, changed in a few places."""

from __future__ import annotations

import os

from hypothesis import strategies as st

# How many examples in all; the suite takes a few hundred, FUZZ=20000 by hand.
ASKED = int(os.environ.get("FUZZ", "0"))

# What parsers stumble over: ends, marks, numbers without bounds, half characters, depth, other encodings.
_THORNS = (
    *(b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\\ud800", b"\\u0000", b"\r", b"\n", b"\r\n"),
    *(b'"', b"'", b"{", b"}", b"[", b"]", b",", b";", b"=", b"#", b"${", b"{{7*7}}", b"%s", b"%(x)s"),
    *(b"../../etc/passwd", b"-1", b"0", b"1e999", b"-0.0", b"NaN", b"Infinity", b"9" * 40, b"1" * 5000),
    *(b"true", b"null", b'""', b"[]", b"{}", b"[" * 3000, b'{"a":' * 600, b"9999-12-31", b"0000-00-00"),
    *(b"2027-02-30", b"24:00", b"-99:99", b"\x1b[2J", b"\x7f", b"A" * 70000, b"' OR 1=1 --"),
    *(b"<script>alert(1)</script>", b"=cmd|' /C calc'!A0"),
    *(one.encode() for one in ("\u202e", "\u2028", "\U0001f441", "١٢٣", "ﷺ", "e\u0301")),
)
_HOW = ("put in", "put over", "take out", "double", "cut off", "turn a bit", "change places")


def share(part: float, *, suite: int) -> int:
    """How many examples of a kind: ``suite`` in the suite, else its part of what was asked for."""
    return max(suite, round(ASKED * part)) if ASKED else suite


@st.composite
def mutated(draw: st.DrawFn, sound: tuple[bytes, ...]) -> bytes:
    """One of the ``sound`` files, changed in one to four places."""
    data = draw(st.sampled_from(sound))
    for _ in range(draw(st.integers(1, 4))):
        at, width = draw(st.integers(0, max(len(data), 1))), draw(st.integers(1, 40))
        data = _changed(data, draw(st.sampled_from(_HOW)), at, width, draw(st.sampled_from(_THORNS)))
    return data


def _changed(data: bytes, how: str, at: int, width: int, thorn: bytes) -> bytes:
    before, piece, after = data[:at], data[at : at + width], data[at + width :]
    if how == "put in":
        return before + thorn + piece + after
    if how == "put over":
        return before + thorn + after
    if how == "take out":
        return before + after
    if how == "double":
        return before + piece * 2 + after
    if how == "cut off":
        return before
    if how == "turn a bit":
        return before + bytes([piece[0] ^ (1 << width % 8)]) + piece[1:] + after if piece else data
    return after + piece + before
