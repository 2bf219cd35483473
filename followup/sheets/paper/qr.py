"""QR codes as pictures: crisp, with their quiet zone, large enough for an old phone's camera."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import qrcode
from qrcode.constants import ERROR_CORRECT_M, ERROR_CORRECT_Q

from followup.errors import FollowupError
from followup.said import say
from followup.sheets.model import SheetContent

QUIET_ZONE = 4
# The squares for the patient's phone: the least at which a blur of 0.3 mm leaves them readable.
MODULE_MM = 0.6
RETURN_MM = 25.0
# Bytes of the largest codes printed. Level M, 57 modules a side (version 10): as large as phones read from
# paper with ease. Level Q, 41 modules (version 6): with its quiet zone still 0.5 mm a module in 25 mm.
_LONGEST = {ERROR_CORRECT_M: 213, ERROR_CORRECT_Q: 74}


@dataclass(frozen=True)
class QrPicture:
    """``modules`` a side and ``size_mm`` on paper, both with the quiet zone."""

    svg: str
    modules: int
    size_mm: float


@lru_cache(maxsize=256)
def qr_picture(payload: str) -> QrPicture:
    """The QR code (ISO/IEC 18004, level M) of a short ASCII text for a phone, MODULE_MM a module.

    Raises FollowupError ``sheet.code`` for text that a plain scanner would have to guess at.
    """
    svg, modules = _drawn(payload, ERROR_CORRECT_M)
    return QrPicture(svg, modules, round(modules * MODULE_MM, 2))


@lru_cache(maxsize=256)
def return_picture(payload: str) -> QrPicture:
    """The return code, which lives in a pocket for weeks: level Q, RETURN_MM wide on every paper.

    The quiet zone is within that width: 0.68 mm a module or more for the codes of any clinic. Larger
    modules, the quiet zone outside, were read better through a blur of 0.3 mm alone, and would take 8 mm
    of the front both ways; what stains, folds and copies leave is the same.
    Raises as ``qr_picture``.
    """
    return QrPicture(*_drawn(payload, ERROR_CORRECT_Q), RETURN_MM)


def passing_picture(payload: str) -> str:
    """The QR code of a secret as SVG, level M: drawn anew, kept nowhere. Raises as ``qr_picture``."""
    return _drawn(payload, ERROR_CORRECT_M)[0]


def code_pictures(content: SheetContent) -> dict[str, QrPicture]:
    """Every code of a sheet by name: "return", and the squares for the patient's phone by their id."""
    pictures = {square.id: qr_picture(square.payload) for square in content.squares}
    return pictures | ({"return": return_picture(content.code.payload)} if content.code else {})


def _drawn(payload: str, level: int) -> tuple[str, int]:
    """The code as SVG, and its modules a side."""
    plain = payload.isascii() and payload.replace("\r\n", "").isprintable()
    if not payload or not plain or len(payload) > _LONGEST[level]:
        raise FollowupError(
            "sheet.code",
            say(
                "a code holds 1 to {longest} plain ASCII characters, this text has {payload}",
                longest=_LONGEST[level],
                payload=len(payload),
            ),
            fix=say("shorten it"),
        )
    code = qrcode.QRCode(error_correction=level, border=QUIET_ZONE)
    code.add_data(payload)
    code.make()
    matrix = code.get_matrix()
    side = len(matrix)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/><path fill="#000" d="{_path(matrix)}"/></svg>'
    )
    return svg, side


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
