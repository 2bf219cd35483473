"""A page against WCAG 2.2, levels A and AA, as axe-core judges it.

Contrast was most of what that cost, and pages show the same few pairs of colours again and again. So every
text of every page is looked at, and axe-core judges its contrast unless it has found another good of which
all was the same that decides it. What was not found good is never known.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

AXE = Axe()
_SCRIPT = Path(__file__).with_suffix(".js").read_text("utf-8")
_OPTIONS = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    # What is right on a page is no news: told as well, it costs more than the check itself.
    "resultTypes": ["violations"],
    # For rules about films and turned screens: the sheet of styles would be fetched again for each page.
    "preload": False,
}


class AgainstWcag:
    """Judges pages one after the other; ``known``: by what decides it, the contrast that was found good."""

    def __init__(self) -> None:
        self.known: set[str] = set()

    def wrong_on(self, page: Page) -> list[tuple[str, str, str]]:
        """Rule, element and why of everything that axe-core finds wrong."""
        page.evaluate(AXE.axe_script)
        told: dict[str, Any] = page.evaluate(_SCRIPT, {"known": list(self.known), "options": _OPTIONS})
        if not told["violations"]:
            self.known.update(told["good"])
        return [
            (v["id"], v["nodes"][0]["html"][:160], v["nodes"][0].get("failureSummary", "")[:200])
            for v in told["violations"]
        ]
