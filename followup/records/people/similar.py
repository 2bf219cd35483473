"""Patients whose name is written almost as it was typed: a wrong letter, one too many, two exchanged."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, col, select

from followup.records.people.folding import fold_name
from followup.records.people.patients import patients_by_id
from followup.records.tables import PatientRow
from followup.records.views import PatientView

# How many letters may be wrong in a word of this length, and from which length on it is looked at at all.
_ONE_FROM, _TWO_FROM = 4, 8


def similar_patients(session: Session, text: str, *, limit: int = 20) -> tuple[PatientView, ...]:
    """Patients with a name like ``text``, the likest first; for where nobody's is written so.

    Each word that was typed must stand in the name, in any order: short ones as they are, longer ones with
    at most one wrong letter, from eight letters on with two. Nobody is found by a number.
    """
    typed = fold_name(text).split()
    if not any(len(word) >= _ONE_FROM for word in typed) or any(c.isdecimal() for c in text):
        return ()
    found = []
    for number, name, code in session.exec(
        select(PatientRow.id, PatientRow.search_name, col(PatientRow.code_key))
    ):
        wrong = _wrong_letters(typed, name.split())
        if wrong is not None and number is not None:
            found.append((wrong, name, code, number))
    likest = [number for *_, number in sorted(found)[:limit]]
    people = patients_by_id(session, likest)
    return tuple(people[number] for number in likest)


def _wrong_letters(typed: Sequence[str], name: Sequence[str]) -> int | None:
    """How many letters differ in all; None where a word that was typed stands nowhere in the name."""
    total = 0
    for word in typed:
        fewest = min((wrong for own in name if (wrong := _wrong_in(word, own)) is not None), default=None)
        if fewest is None:
            return None
        total += fewest
    return total


def _wrong_in(word: str, own: str) -> int | None:
    """How many letters of ``word`` are wrong for ``own`` or its beginning, in bounds; else None."""
    if own.startswith(word):
        return 0
    most = 0 if len(word) < _ONE_FROM else 1 if len(word) < _TWO_FROM else 2
    ways = {own, own[: len(word)]}
    return next((n for n in range(1, most + 1) if any(_within(word, each, n) for each in ways)), None)


def _within(one: str, other: str, most: int) -> bool:
    """Whether ``most`` changes make one word the other: a letter wrong, missing, too many, two exchanged."""
    if abs(len(one) - len(other)) > most:
        return False
    start = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), None)
    if start is None:
        return True
    if not most:
        return False
    one, other = one[start:], other[start:]
    return (
        _within(one[1:], other[1:], most - 1)
        or _within(one[1:], other, most - 1)
        or _within(one, other[1:], most - 1)
        or (one[:2] == other[1::-1] and _within(one[2:], other[2:], most - 1))
    )
