"""A place in a record in the words of its labels, such as "Operations 1, Incision, mm"."""

from __future__ import annotations

from collections.abc import Callable, Sequence


class FormPlace(str):
    """The place as English text; ``told`` says it in another language, label by label."""

    _steps: tuple[tuple[str, int | None], ...]

    @classmethod
    def of(cls, steps: Sequence[tuple[str, int | None]]) -> FormPlace:
        """``steps``: each label, and which one of several it is, counted from 1."""
        place = cls(_said(steps, str))
        place._steps = tuple(steps)
        return place

    def inside(self) -> FormPlace:
        """The same without its first step."""
        return FormPlace.of(self._steps[1:] or self._steps)

    def told(self, words: Callable[[str], str]) -> str:
        return _said(self._steps, words)


def _said(steps: Sequence[tuple[str, int | None]], words: Callable[[str], str]) -> str:
    return ", ".join(
        words(label) if number is None else f"{words(label)} {number}" for label, number in steps
    )
