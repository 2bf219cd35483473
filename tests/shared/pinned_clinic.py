"""An invented clinic whose people put every page in every state that its template tells apart."""

from __future__ import annotations

from typing import Any

from pinned_before import before_anything, records
from pinned_day_of_surgery import day_of_surgery, sheets
from pinned_first_days import first_days, fourth_day
from pinned_fortnight import fortnight
from pinned_rarely import rarely
from pinned_seldom import seldom
from walked import Walk

from followup.desks.page.parts import part

SOME = ("C-0002", "C-0021", "C-0003", "C-0012", "C-0007")


def walk_through(walk: Walk) -> None:
    """The story, page by page."""
    ids: dict[str, Any] = {}
    for told in (
        before_anything,
        records,
        day_of_surgery,
        sheets,
        first_days,
        fourth_day,
        fortnight,
        rarely,
        seldom,
    ):
        told(walk, ids)
    _shorten(walk)


def _shorten(walk: Walk) -> None:
    """Of long lists a few lines, one of each kind: the rest would repeat them."""
    for drawn in list(walk.drawn):
        _role, name = drawn.name.split(": ", 1)
        some: dict[str, Any] = {}
        if drawn.file == "waiting" and drawn.given["plans"].count > 5:
            lines = [line for line in drawn.given["plans"].lines if line.who.code in SOME]
            some = {"plans": part("all", lines), "together": [line for line in lines if line.together]}
        if drawn.file == "forecast" and len(drawn.given["weeks"]) > 3:
            some = {"weeks": drawn.given["weeks"][:3]}
        if some:
            walk.vary(name, f"{drawn.file}/{drawn.name}", instead=True, **some)
