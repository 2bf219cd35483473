"""The sheet on a phone: the same content as one self-contained HTML page, no network needed."""

from __future__ import annotations

import io
import re
from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from followup.clinical.record import Eye
from followup.language.catalogues import translator
from followup.language.fonts import subset
from followup.language.languages import ENGLISH, language
from followup.resources import folder
from followup.sheets.model import SheetContent
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
    return page.render(
        sheet=content, drawings=content.stairs, codes=codes, faces=_faces(content), say=_say(content)
    )


@dataclass(frozen=True)
class FontFace:
    """A font that the page carries with it, as base64 of a WOFF file."""

    family: str
    weight: int
    data: str


def _faces(content: SheetContent) -> tuple[FontFace, ...]:
    """The scripts' own fonts, cut down for the page; Latin letters and digits every phone has.

    Cutting takes a second or more. It is done for all that the language's catalogue can say, so
    that the next patient's page finds the same cut made.
    """
    printed = content.model_dump_json(exclude={"teach_back", "code", "squares"})
    tags = [content.language] + ([content.twin.language] if content.twin else [])
    faces = {}
    for tag in tags:
        family = language(tag).fonts[0]
        if family == ENGLISH.fonts[0]:
            continue
        letters = _catalogue_letters(tag) | frozenset(printed)
        characters = frozenset(c for c in letters if not (c.isascii() and c.isalnum()))
        for weight in (400, 700):
            faces[family, weight] = FontFace(family, weight, _packed(family, weight, characters))
    return tuple(faces.values())


@lru_cache(maxsize=32)
def _catalogue_letters(tag: str) -> frozenset[str]:
    return frozenset(c for forms in translator(tag).messages.values() for form in forms for c in form)


@lru_cache(maxsize=64)
def _packed(family: str, weight: int, characters: frozenset[str]) -> str:
    """The cut font as base64 of a WOFF file, half the size of the plain one."""
    packed = io.BytesIO()
    with TTFont(io.BytesIO(subset(family, weight, characters))) as font:
        font.flavor = "woff"
        font.save(packed)
    return b64encode(packed.getvalue()).decode()


def _say(content: SheetContent) -> Callable[[Any], Markup]:
    """How the page writes a text: telephone numbers whole, the staff's words under the patient's."""
    twin = content.twin

    def say(text: Any) -> Markup:
        if isinstance(text, str):
            return _whole_numbers(text)
        assert twin is not None
        staff = Markup('<span class="staff" lang="{}" dir="{}">{}</span>').format(
            twin.language, twin.direction, _whole_numbers(text["twin"])
        )
        return _whole_numbers(text["main"]) + Markup(" ") + staff

    return say


def _whole_numbers(text: str) -> Markup:
    """A telephone number is never parted at the end of a line, nor turned round."""
    safe, at = Markup(""), 0
    for match in _TELEPHONE.finditer(text):
        safe += escape(text[at : match.start()])
        safe += Markup('<bdi dir="ltr" class="whole">{}</bdi>').format(match[0])
        at = match.end()
    return safe + escape(text[at:])


def _main(text: Any) -> str:
    """The patient's words alone, for an attribute."""
    return text if isinstance(text, str) else str(text["main"])


@lru_cache(maxsize=64)
def _picture(name: str) -> Markup:
    """A drawing of ``templates/pictures`` as part of the page; the words beside it say the same."""
    inner, box = _drawing(name)
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
    environment.filters |= {"dialled": dialled, "main": _main}
    environment.globals |= {"picture": _picture, "hand_mirror": _hand_mirror, "cap_colours": CAP_COLOURS}
    return environment
