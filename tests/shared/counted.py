"""A person who fills in a form in the browser, and is counted: every box typed in, every press.

The same story runs on any drawing of a form: fields go by their names, and what leads to one (a fold
opened, a line added) is found and counted on the way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Locator, Page


@dataclass
class Counted:
    """``fields``: boxes typed in and lists chosen from. ``clicks``: buttons, circles, ticks and folds."""

    page: Page
    fields: int = 0
    clicks: int = 0

    def tell(self, answers: Mapping[str, str | list[str]]) -> None:
        """Answer every field by its name; what the page answers so already costs nothing."""
        for name, answer in answers.items():
            for one in [answer] if isinstance(answer, str) else answer:
                self._answer(name, one)

    def press(self, selector: str) -> None:
        """A press on what the page shows."""
        self._press(self.page.locator(selector).first)

    def _answer(self, name: str, answer: str) -> None:
        if not self.page.locator(f"[name='{name}']:not([type=hidden])").count():
            self._add_line(name)
        box = self.page.locator(f"[name='{name}']:not([type=hidden])").first
        if box.get_attribute("type") in ("radio", "checkbox"):
            choice = self.page.locator(f"[name='{name}'][value='{answer}']")
            if not choice.is_checked():
                self._unfold(choice)
                self._press(self._shown(choice))
            assert choice.is_checked(), f"{name} did not become {answer}"
            return
        if box.input_value() == answer:
            return
        self._unfold(box)
        if box.evaluate("box => box.tagName") == "SELECT":
            box.select_option(answer)
        else:
            box.fill(answer)
            box.blur()
        self.fields += 1

    def _add_line(self, name: str) -> None:
        """The list that the field would stand in gets one line more."""
        adding = self.page.locator("button[name='add']")
        lists = adding.evaluate_all("all => all.map(one => one.value)")
        found = [one for one in lists if name.startswith(f"{one}.") and one != "operations"]
        assert found, f"nothing on the page leads to {name}"
        button = self.page.locator(f"button[name='add'][value='{max(found, key=len)}']")
        self._unfold(button)
        self._press(button)
        self.page.wait_for_selector(f"[name='{name}']", state="attached")

    def _unfold(self, box: Locator) -> None:
        """Open every fold that the box lies in, the outermost first."""
        while True:
            closed = box.locator("xpath=ancestor::details[not(@open)]").first
            if not closed.count():
                return
            self._press(closed.locator("> summary"))

    def _shown(self, choice: Locator) -> Locator:
        """What is pressed for a circle or tick: itself, or the label that is drawn in its place."""
        label = choice.locator("xpath=ancestor::label")
        if label.count():
            return label.first
        of = self.page.locator(f"label[for='{choice.get_attribute('id')}']")
        return of.first if of.count() else choice

    def _press(self, what: Locator) -> None:
        before: Any = self.page.url
        what.click()
        self.clicks += 1
        if self.page.url != before:
            self.page.wait_for_load_state("load")
