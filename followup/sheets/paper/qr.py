"""QR codes as pictures: crisp, with their quiet zone, large enough for an old phone's camera."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import qrcode
from qrcode.constants import ERROR_CORRECT_M

from followup.errors import FollowupError
from followup.said import say

QUIET_ZONE = 4
MODULE_MM = 0.7
# Bytes of a code of 57 modules a side (version 10) at level M: as large as phones read from paper with ease.
_LONGEST = 213


@dataclass(frozen=True)
class QrPicture:
    """``modules`` a side, quiet zone included; ``size_mm`` at MODULE_MM a module."""

    svg: str
    modules: int

    @property
    def size_mm(self) -> float:
        return round(self.modules * MODULE_MM, 2)


@lru_cache(maxsize=256)
def qr_picture(payload: str) -> QrPicture:
    """The QR code (ISO/IEC 18004, level M) of a short ASCII text.

    Raises FollowupError ``sheet.code`` for text that a plain scanner would have to guess at.
    """
    plain = payload.isascii() and payload.replace("\r\n", "").isprintable()
    if not payload or not plain or len(payload) > _LONGEST:
        raise FollowupError(
            "sheet.code",
            say(
                "a code holds 1 to {longest} plain ASCII characters, this text has {payload}",
                longest=_LONGEST,
                payload=len(payload),
            ),
            fix=say("shorten it"),
        )
    code = qrcode.QRCode(error_correction=ERROR_CORRECT_M, border=QUIET_ZONE)
    code.add_data(payload)
    code.make()
    matrix = code.get_matrix()
    side = len(matrix)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/><path fill="#000" d="{_path(matrix)}"/></svg>'
    )
    return QrPicture(svg, side)


def _path(matrix: list[list[bool]]) -> str:
    """Runs of dark modules, row by row, as one path: small, and without seams between modules."""
    parts = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            start = x
            while x < len(row) and row[x]:
                x += 1
            if x > start:
                parts.append(f"M{start} {y}h{x - start}v1h-{x - start}z")
            x += 1
    return "".join(parts)
