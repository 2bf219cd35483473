"""Figures of a plan that know what they are: a failing test says them as a clinician would.

"Second macula look, right eye: planned for day 21 to 42, aimed at day 35; expected day 28 to 42, aimed at day
35", and not that one tuple of numbers differs from another at index 0.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

_NUMBER = {"1": "first", "2": "second", "3": "third", "4": "fourth", "early": "early", "end": "last"}


class Window(tuple[int, int, int]):
    """Earliest, target and latest day of a look."""

    about: str


class Windows(dict[str, Window]):
    """The looks of a plan by their key."""


class Steps(str):
    """Drops a day times days: "4x7 3x7"."""

    about: str


class DayNumber(int):
    """Days since surgery."""

    about: str


class Visits(list[int]):
    """The days of the visits."""


def look_words(key: str) -> str:
    """A look in words: "right:macula-2" is the second macula look of the right eye."""
    eye, _, name = key.rpartition(":")
    kind, _, number = name.rpartition("-")
    words = f"{_NUMBER[number]} {kind} look" if kind and number in _NUMBER else f"{name} look"
    words = words.replace("-", " ").replace("look look", "look")
    return f"{words}, {eye} eye" if eye else words


def course_words(key: str) -> str:
    """A course in words: "right:steroid" is the steroid of the right eye."""
    eye, _, name = key.rpartition(":")
    return f"{name}, {'by mouth' if eye == 'mouth' else f'{eye} eye'}"


def window_words(days: Any) -> str:
    if days is None:
        return "no such look"
    earliest, target, latest = days
    return f"day {target}" if earliest == latest else f"day {earliest} to {latest}, aimed at day {target}"


def steps_words(steps: str) -> str:
    """ "4x7 3x7" as "4 a day for 7 days, then 3 for 7"."""
    first, *rest = (step.split("x") for step in steps.split()) if steps else ((),)
    if not first:
        return "no drops"
    return ", then ".join([f"{first[0]} a day for {first[1]} days", *(f"{n} for {days}" for n, days in rest)])


def _days(numbers: Any) -> str:
    return "on day " + ", ".join(map(str, numbers)) if numbers else "none"


def _apart(about: str, planned: Any, expected: Any, words: Callable[[Any], str]) -> str:
    return f"{about}: planned {words(planned)}; expected {words(expected)}"


def differences(planned: Any, expected: Any) -> Iterator[str]:
    """What differs, a line each; nothing for figures that don't say what they are."""
    if isinstance(planned, Window):
        yield _apart(planned.about, planned, expected, window_words)
    elif isinstance(planned, Windows) or _are_windows(planned):
        for key in sorted({*planned, *expected}):
            if planned.get(key) != expected.get(key):
                yield _apart(look_words(key), planned.get(key), expected.get(key), window_words)
    elif isinstance(planned, Steps):
        yield _apart(planned.about, planned, expected, steps_words)
    elif isinstance(planned, DayNumber):
        yield f"{planned.about}: planned day {planned:d}; expected day {expected}"
    elif isinstance(planned, Visits):
        yield _apart("visits", planned, expected, _days)


def _are_windows(planned: Any) -> bool:
    """Some of the looks of a plan, picked out by a test."""
    found = list(planned.values()) if isinstance(planned, dict) else []
    return bool(found) and all(isinstance(one, Window) for one in found)


def in_words(op: str, left: Any, right: Any) -> list[str] | None:
    """For pytest's ``pytest_assertrepr_compare``: what differs in words, whichever side is the plan's."""
    if op != "==":
        return None
    try:
        lines = list(differences(left, right)) or list(differences(right, left))
    except (TypeError, ValueError):
        return None  # compared with something of another kind: pytest tells it as it is
    return lines or None
