"""Cut the fonts that the page for a telephone carries with it: ``python locales/cut_fonts.py``.

One file a family and weight, or one for both weights where the font holds them: the whole script, so that
names have their letters too, and what the catalogues say beside it. Latin letters and digits every phone
has. Run it anew when a font's package or a language is new. What the fonts say of their makers and their
licence stays in the files.
"""

from __future__ import annotations

import io
from pathlib import Path

from fontTools.subset import Options, Subsetter  # type: ignore[import-untyped]
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from fontTools.varLib.instancer import instantiateVariableFont  # type: ignore[import-untyped]

from followup.language.catalogues import translator
from followup.language.fonts import font_file
from followup.language.languages import LANGUAGES

# The blocks of the scripts, from the first to the last code point (Unicode 15, Blocks.txt).
BLOCKS = {
    "Noto Sans Devanagari": (0x0900, 0x097F),
    "Hind Siliguri": (0x0980, 0x09FF),
    "Noto Sans Tamil": (0x0B80, 0x0BFF),
    "Noto Sans Telugu": (0x0C00, 0x0C7F),
    "Amiri": (0x0600, 0x06FF),
}
JOINERS = "\u200c\u200d\u2066\u2067\u2068\u2069\u25cc"


def letters(family: str) -> set[int]:
    """What the family has to draw on a phone, as code points."""
    said = set(JOINERS)
    for tag, language in LANGUAGES.items():
        if language.fonts[0] == family:
            said.update(c for forms in translator(tag).messages.values() for form in forms for c in form)
    first, last = BLOCKS[family]
    return {*range(first, last + 1), *(ord(c) for c in said if c == " " or not c.isascii())}


def cut(font: TTFont, family: str) -> TTFont:
    """The font with these letters and their joined forms, in no weight but those used."""
    options = Options(notdef_outline=True, hinting=False)
    options.name_IDs = ["*"]
    chosen = Subsetter(options)
    chosen.populate(unicodes=letters(family))
    chosen.subset(font)
    if "fvar" not in font:
        return font
    whole = io.BytesIO()
    font.save(whole)
    return instantiateVariableFont(TTFont(whole), {"wght": (400, 700), "wdth": 100})


def write(target: Path) -> None:
    for family in BLOCKS:
        for weight in (400, 700):
            font = TTFont(font_file(family, weight))
            both = "fvar" in font
            small = cut(font, family)
            small.flavor = "woff"
            small.save(target / f"{family}, {'400 700' if both else weight}.woff")
            if both:
                break


if __name__ == "__main__":
    write(Path(__file__).resolve().parents[1] / "templates" / "fonts")
