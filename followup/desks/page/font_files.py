"""The fonts of scripts that a computer may lack, served from here: nothing comes from outside."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import FileResponse

from followup.errors import FollowupError
from followup.language.fonts import font_file
from followup.said import say

router = APIRouter()
# As desk.css names them: family and weight.
FONTS = {
    "devanagari": ("Noto Sans Devanagari", 400),
    "bengali": ("Hind Siliguri", 400),
    "bengali-bold": ("Hind Siliguri", 700),
    "tamil": ("Noto Sans Tamil", 400),
    "telugu": ("Noto Sans Telugu", 400),
    "arabic": ("Amiri", 400),
    "arabic-bold": ("Amiri", 700),
}


@router.get("/fonts/{name}")
def font(name: str) -> FileResponse:
    """A font file; browsers keep it for a week."""
    if name not in FONTS:
        raise FollowupError("font.unknown", say("no such font"), fix=say("load the page again"))
    path = font_file(*FONTS[name])
    return FileResponse(path, media_type="font/ttf", headers={"cache-control": "public, max-age=604800"})
