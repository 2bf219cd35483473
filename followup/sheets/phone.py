"""The sheet on a phone: the same content as one self-contained HTML page, no network needed."""

from __future__ import annotations

from functools import lru_cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from followup.resources import folder
from followup.sheets.codes import qr_picture
from followup.sheets.model import SheetContent


def render_phone(content: SheetContent) -> str:
    """The whole page as HTML; styles and drawings are inside, nothing is fetched."""
    # The code is drawn from digits alone, so it is safe as it stands.
    qr = Markup(qr_picture(content.code.payload).svg) if content.code else ""  # noqa: S704
    return _environment().get_template("phone.html").render(sheet=content, qr=qr)


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
