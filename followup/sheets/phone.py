"""The sheet on a phone: the same content as one self-contained HTML page, no network needed."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from functools import lru_cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from followup.language.fonts import subset
from followup.language.languages import ENGLISH, language
from followup.resources import folder
from followup.sheets.codes import qr_picture
from followup.sheets.model import SheetContent


def render_phone(content: SheetContent) -> str:
    """The whole page as HTML; styles and drawings are inside, nothing is fetched."""
    # The code is drawn from digits alone, so it is safe as it stands.
    qr = Markup(qr_picture(content.code.payload).svg) if content.code else ""  # noqa: S704
    faces = _faces(content)
    return _environment().get_template("phone.html").render(sheet=content, qr=qr, faces=faces)


@dataclass(frozen=True)
class Face:
    """A font that the page carries with it, as base64 TrueType."""

    family: str
    weight: int
    data: str


def _faces(content: SheetContent) -> tuple[Face, ...]:
    """The script's own font, cut down to this page; Latin letters every phone has."""
    family = language(content.language).fonts[0]
    if family == ENGLISH.fonts[0]:
        return ()
    characters = frozenset(content.model_dump_json(exclude={"teach_back", "code"}))
    return tuple(
        Face(family, weight, b64encode(subset(family, weight, characters)).decode()) for weight in (400, 700)
    )


def dialled(number: str) -> str:
    """What a telephone dials: the digits, and the plus in front."""
    digits = "".join(c for c in number if c.isascii() and c.isdigit())
    return f"+{digits}" if "+" in number else digits


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["dialled"] = dialled
    return environment
