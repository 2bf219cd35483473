"""Two people at one record: what the first changed goes into the second's form, and is said."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from followup.care.fields.place import FormPlace
from followup.care.fields.values import Flat, rows

_IN_A_LIST = re.compile(r"^(.*?)\.\d+(\.|$)")


@dataclass(frozen=True)
class Changed:
    """One answer that somebody changed meanwhile. ``kept``: the form still holds what was typed."""

    place: FormPlace
    was: str
    now: str
    kept: bool


def merge(
    base: Flat, theirs: Flat, mine: Flat, place: Callable[[str], FormPlace]
) -> tuple[dict[str, list[str]], tuple[Changed, ...]]:
    """``mine`` with what ``theirs`` changed of ``base``, but for what was changed here as well.

    A list whose number of rows was changed by one side and that the other side touched stays as typed.
    """
    merged = {name: list(values) for name, values in mine.items()}
    stays = {head for head in _lists(base, theirs, mine) if _crossed(head, base, theirs, mine)}
    changed = []
    for name in dict.fromkeys((*base, *theirs)):
        was, now, typed = _given(base, name), _given(theirs, name), _given(mine, name)
        if was == now:
            continue
        kept = typed != now and (typed != was or _head(name) in stays)
        changed.append(Changed(place(name), ", ".join(was), ", ".join(now), kept))
        if kept:
            continue
        if now:
            merged[name] = now
        else:
            merged.pop(name, None)
    return merged, tuple(changed)


def _given(form: Flat, name: str) -> list[str]:
    return [text for text in form.get(name, []) if text]


def _head(name: str) -> str:
    found = _IN_A_LIST.match(name)
    return found[1] if found else ""


def _lists(*forms: Flat) -> set[str]:
    return {head for form in forms for name in form if (head := _head(name))}


def _crossed(head: str, base: Flat, theirs: Flat, mine: Flat) -> bool:
    counts = [rows(form, head) for form in (base, theirs, mine)]
    if counts[0] == counts[1] == counts[2]:
        return False
    return _part(head, base) != _part(head, theirs) and _part(head, base) != _part(head, mine)


def _part(head: str, form: Flat) -> Mapping[str, list[str]]:
    return {name: given for name in form if name.startswith(f"{head}.") and (given := _given(form, name))}
