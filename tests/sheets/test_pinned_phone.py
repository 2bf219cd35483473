"""The page for a telephone as it stands, with its styles, drawings and languages.

A pin says only that it did not change by accident. Whether what it shows is right is for the other tests.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import page_pins
import two_eyes
from markupsafe import escape
from page_outline import outline

from followup.drawings.staircase import Stair, Tread
from followup.drawings.staircase_svg import staircase_svg
from followup.sheets.content import SheetOptions
from followup.sheets.phone import FontFace, render_phone

FOLDER = Path(__file__).parent / "pinned_phone"
COMMAND = "python tests/sheets/renew_phone_pins.py"
ODD = "<b>&\"'"
PICTURES = SheetOptions(pictures=True, calendar=True)


def _brief(content):
    """What repeats on every page is cut short, in both languages alike."""
    table = content.table.model_copy(update={"rows": content.table.rows[:3]})
    cut = {
        "table": table,
        "bottles": content.bottles[:2],
        "home": content.home[:1],
        "squares": content.squares[:1],
    }
    cut["calendar"] = content.calendar and content.calendar.model_copy(
        update={"days": tuple(day for day in content.calendar.days[:6] if (day.row or 0) < 3)}
    )
    return content.model_copy(update=cut | {"twin": content.twin and _brief(content.twin)})


def _of_every_kind(content):
    """Bottles of each kind and side, with caps and without, letters of two signs."""
    (first, *_) = content.bottles
    told = [("S", "drop", "left", "pink"), ("N", "drop", "right", None), ("A2", "ointment", "left", "tan")]
    told += [("C", "tablet", None, None), ("P", "tablet", None, "red"), ("L", "ointment", "right", "grey")]
    keys = ("letter", "kind", "side", "cap")
    bottles = [
        first.bottle.model_copy(update=dict(zip(keys, one, strict=True)) | {"name": f"{one[0]} {ODD}"})
        for one in told
    ]
    row, mark = content.table.rows[0], content.table.rows[0].marks[0]
    marks = [
        mark.model_copy(update={"bottle": bottle, "amount": ODD if bottle.letter == "P" else None})
        for bottle in bottles
    ]
    rows = tuple(
        row.model_copy(update={"marks": tuple(marks), "told": words, "new": True}) for words in (False, True)
    )
    blocks = tuple(first.model_copy(update={"bottle": bottle}) for bottle in bottles)
    table = content.table.model_copy(update={"rows": rows})
    return content.model_copy(update={"bottles": blocks, "table": table, "calendar": None})


def _bare(content):
    """All that a sheet may lack is gone."""
    gone = ("held", "cautions", "allergies", "before_leaving", "next_visit", "stopping", "code", "first_line")
    gone += ("bottle_care", "how_to", "ordinary", "calendar")
    lists = dict.fromkeys(("bottles", "squares", "steroid_ends", "home", "changes"), ())
    table = content.table.model_copy(update={"columns": (), "rows": (), "rules": (), "none": "No drops now."})
    none = {"table": table, "clinic": content.clinic.model_copy(update={"address": "", "nearest": ""})}
    return content.model_copy(update=dict.fromkeys(gone) | lists | none)


def _drawn(formulary) -> dict[str, str]:
    caps = replace(two_eyes.CLINIC, cap_colours=True, name=f"Riverbend {ODD}", address=ODD)
    odd = two_eyes.record(name=f"Maya {ODD}")
    whole = two_eyes.content(formulary, record=odd, clinic=caps, options=PICTURES)
    made = {
        "in pictures": whole,
        "in words": two_eyes.content(formulary),
        "draft": two_eyes.content(formulary, issue=None, plan=two_eyes.plan(approved=False)),
        "from right to left": two_eyes.content(formulary, record=two_eyes.record(language="ar")),
        "Bengali, in pictures": two_eyes.content(
            formulary, record=two_eyes.record(language="bn"), options=SheetOptions(pictures=True, twin="ar")
        ),
        "in English for want of words": two_eyes.content(formulary, record=two_eyes.record(language="so")),
        "bottles of every kind": _of_every_kind(whole),
        "next to nothing": _bare(two_eyes.content(formulary)),
    }
    short = {name: content if name == "in words" else _brief(content) for name, content in made.items()}
    short["bottles of every kind"] = made["bottles of every kind"]
    return {name: render_phone(content) for name, content in short.items()}


def test_the_page_for_a_telephone_is_as_it_was_pinned(formulary, monkeypatch):
    monkeypatch.setattr(
        "followup.sheets.phone._faces",
        lambda content: (
            FontFace(f"Letters of {content.language}", "400 700", "AAAA"),
            FontFace("Others", "700", "BBBB"),
        ),
    )
    for drawn in ("qr_picture", "return_picture"):
        monkeypatch.setattr(
            f"followup.sheets.paper.qr.{drawn}",
            lambda payload: SimpleNamespace(svg=f"<svg>{escape(payload)}</svg>"),
        )
    found = {name: outline(_without_artwork(page)) for name, page in _drawn(formulary).items()}
    told = page_pins.compare(FOLDER, {"phone": found}, COMMAND)
    assert not told, told


def _without_artwork(page: str) -> str:
    """The artwork of signs and suns by the length of its lines: they have tests of their own."""
    return re.sub(
        r'(<svg class="picture[^>]*>)(.*?)(</svg>)',
        lambda found: f"{found[1]}{len(found[2])} signs of artwork{found[3]}",
        page,
        flags=re.DOTALL,
    )


def _stairs(mirrored: bool, today: float | None) -> SimpleNamespace:
    """Every kind of stair and of visit at once."""
    treads = [Tread(start=0, days=7, count=count, x=x, y=1 - count / 6) for x, count in ((0.0, 6), (0.25, 4))]
    kinds = [
        (True, False, 0),
        (True, True, 0),
        (False, True, 1),
        *((False, False, dash) for dash in range(6)),
    ]
    points = ((0.0, 1.0), (0.123, 0.456), (0.789, 0.456), (1.0, 0.0))
    stairs = [Stair("", "", filled, held, dash, False, tuple(treads), points) for filled, held, dash in kinds]
    states = ("missed", "done", "part", "planned", "booked")
    ticks = [SimpleNamespace(x=at / 7, state=state) for at, state in enumerate(states)]
    return SimpleNamespace(stairs=stairs, ticks=ticks, today=today, mirrored=mirrored, days=28)


def test_the_staircase_is_drawn_as_it_was_pinned():
    found = {
        f"{size}, {'mirrored' if mirrored else 'as read'}": outline(
            staircase_svg(_stairs(mirrored, today), size, label)
        )
        for size, mirrored, today, label in (
            ("row", False, 0.377, ""),
            ("card", False, 0.377, f"The drops {ODD}"),
            ("card", True, None, "The drops"),
            ("page", False, 0.377, "The drops"),
        )
    }
    told = page_pins.compare(FOLDER.parent / "pinned_staircase", {"staircase": found}, COMMAND)
    assert not told, told
