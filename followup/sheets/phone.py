"""The sheet on a phone: the same content as one self-contained HTML page, no network needed."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import Literal

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from followup.clinical.record import Eye
from followup.clinical.record.base import BOTH_EYES
from followup.language.languages import ENGLISH, language
from followup.resources import folder
from followup.sheets.model import Column, DaysLine, LeafTable, RowMark, SheetContent
from followup.sheets.paper.qr import code_pictures
from followup.sheets.squares import dialled

# The colours of the formulary's caps, as on paper; never the only mark.
CAP_COLOURS = {
    "pink": "#e58fb1",
    "tan": "#c9a06a",
    "grey": "#8f9297",
    "red": "#c8202f",
    "dark green": "#1d5b36",
    "yellow": "#f2cf2e",
    "purple": "#6d3c8f",
    "orange": "#e8832a",
    "turquoise": "#2aa8a8",
    "dark blue": "#1f3a73",
}
_TELEPHONE = re.compile(r"\+?[0-9][0-9().\u00a0 -]{4,}[0-9]")
_ARTBOARD = re.compile(r"<svg [^>]*>(.*)</svg>", re.DOTALL)
_VIEW_BOX = re.compile(r'viewBox="([0-9 ]+)"')


def render_phone(content: SheetContent) -> str:
    """The whole page as HTML; styles, fonts and drawings are inside, nothing is fetched."""
    # The codes are drawn from digits alone, so they are safe as they stand.
    codes = {name: Markup(found.svg) for name, found in code_pictures(content).items()}  # noqa: S704
    page = _environment().get_template("phone.html")
    return page.render(sheet=content, codes=codes, faces=_faces(content))


@dataclass(frozen=True)
class FontFace:
    """A font that the page carries with it, as base64 of a WOFF file; ``weight`` as CSS says it."""

    family: str
    weight: str
    data: str


def _faces(content: SheetContent) -> tuple[FontFace, ...]:
    """The scripts' own fonts; Latin letters and digits every phone has."""
    tags = [content.language] + ([content.twin.language] if content.twin else [])
    families = dict.fromkeys(language(tag).fonts[0] for tag in tags)
    return tuple(face for family in families if family != ENGLISH.fonts[0] for face in _cut(family))


@lru_cache(maxsize=8)
def _cut(family: str) -> tuple[FontFace, ...]:
    """The files of a family that ``locales/cut_fonts.py`` made, one for both weights or one for each."""
    found = sorted((folder("templates") / "fonts").glob(f"{family}, *.woff"))
    return tuple(
        FontFace(family, file.stem.removeprefix(f"{family}, "), b64encode(file.read_bytes()).decode())
        for file in found
    )


def _has_both_eyes(table: LeafTable) -> bool:
    """Whether a mark's eye has to be told from another's: then a row has a line for each."""
    marks = [mark for row in table.rows if isinstance(row, DaysLine) for mark in row.marks]
    return {*BOTH_EYES} <= {mark.bottle.side for mark in marks}


def _by_eye(row: DaysLine, both: bool) -> Iterator[tuple[Eye | None, list[RowMark]]]:
    """The lines of a row: one for each eye and one by mouth, or a single one where one eye is treated."""
    if not both:
        yield None, list(row.marks)
        return
    for side in (*BOTH_EYES, None):
        if marks := [mark for mark in row.marks if mark.bottle.side == side]:
            yield side, marks


def _rounds(table: LeafTable, row: DaysLine) -> Iterator[tuple[Column, list[RowMark]]]:
    """The clock times of a row with what goes in then, in the order of use; none where words tell it."""
    for place, column in enumerate(() if row.told else table.columns):
        if due := [mark for mark in row.marks if mark.at[place]]:
            yield column, due


def _parts(columns: tuple[Column, ...]) -> list[list[Column]]:
    """The columns of each part of the day."""
    return [list(group) for _, group in groupby(columns, key=lambda column: column.part)]


def _say(text: str) -> Markup:
    """A text; a telephone number in it is never parted at the end of a line, nor turned round."""
    safe, at = Markup(""), 0
    for match in _TELEPHONE.finditer(text):
        safe += escape(text[at : match.start()])
        safe += Markup('<bdi dir="ltr" class="whole">{}</bdi>').format(match[0])
        at = match.end()
    return safe + escape(text[at:])


@lru_cache(maxsize=64)
def _picture(name: str, direction: Literal["ltr", "rtl"] = "ltr") -> Markup:
    """A drawing of ``templates/pictures`` as part of the page; the words beside it say the same.

    Where the columns run from right to left the sun goes with them.
    """
    inner, box = _drawing(name)
    if direction == "rtl":
        inner = f'<g transform="matrix(-1 0 0 1 {box.split()[2]} 0)">{inner}</g>'
    # Our own files, not anybody's input.
    return Markup(  # noqa: S704
        f'<svg class="picture" viewBox="{box}" aria-hidden="true" focusable="false">{inner}</svg>'
    )


def _hand_mirror(treated: tuple[Eye, ...]) -> Markup:
    """The inside of the drawing of the patient before a mirror, the treated eyes black, as on paper."""
    inner, _ = _drawing("hand-mirror")
    for side in treated:
        inner = inner.replace(f'class="{side}" fill="#fff"', f'class="{side}" fill="#23201d"')
    return Markup(inner)  # noqa: S704


def _drawing(name: str) -> tuple[str, str]:
    """What is inside the file of a drawing, and its view box."""
    svg = (folder("templates") / "pictures" / f"{name}.svg").read_text("utf-8")
    inner, box = _ARTBOARD.search(svg), _VIEW_BOX.search(svg)
    assert inner
    assert box
    return inner[1].strip(), box[1]


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # Nothing is let through as markup: a template that would is refused.
    del environment.filters["safe"]
    environment.filters["dialled"] = dialled
    environment.globals |= {
        "say": _say,
        "picture": _picture,
        "hand_mirror": _hand_mirror,
        "cap_colours": CAP_COLOURS,
        "has_both_eyes": _has_both_eyes,
        "by_eye": _by_eye,
        "rounds": _rounds,
        "parts": _parts,
    }
    return environment
