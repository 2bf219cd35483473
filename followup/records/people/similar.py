"""Patients whose name is written almost as it was typed: a wrong letter, one too many, two exchanged."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from sqlalchemy import or_
from sqlmodel import Session, col, select

from followup.records.people.folding import fold_name
from followup.records.people.keys import begins
from followup.records.people.patients import patients_by_id
from followup.records.store.spelling import BEGINNING, ONE_FROM, left_out, wrong_at_most
from followup.records.tables import NamePartRow, PatientKeyRow, PatientRow
from followup.records.views import PatientView


def similar_patients(session: Session, text: str, *, limit: int = 20) -> tuple[PatientView, ...]:
    """Patients with a name like ``text``, the likest first; for where nobody's is written so.

    Each word that was typed must stand in the name, in any order: short ones as they are, longer ones with
    at most one wrong letter, from eight letters on with two. Nobody is found by a number.
    """
    typed = fold_name(text).split()
    if not any(len(word) >= ONE_FROM for word in typed) or any(c.isdecimal() for c in text):
        return ()
    found = []
    for number, name, code in _called(session, [_words_like(session, word) for word in typed]):
        wrong = _wrong_letters(typed, name.split())
        if wrong is not None:
            found.append((wrong, name, code, number))
    likest = [number for *_, number in sorted(found)[:limit]]
    people = patients_by_id(session, likest)
    return tuple(people[number] for number in likest)


def _words_like(session: Session, word: str) -> list[str]:
    """The words of names that may be ``word``, of all that anybody is called by."""
    most = wrong_at_most(word)
    parts = set(left_out(word, most))
    # A word that goes on behind what was typed has more letters in its beginning.
    near = (
        col(NamePartRow.part).in_(parts)
        if len(word) >= BEGINNING
        else or_(*(begins(NamePartRow.part, part) for part in sorted(parts)))
    )
    words = session.exec(select(NamePartRow.word).where(near).distinct())
    return [own for own in words if _wrong_in(word, own) is not None]


def _called(session: Session, words: Sequence[Collection[str]]) -> list[tuple[int, str, str]]:
    """Id, folded name and code of whoever is called by one word of each of these."""
    if not all(words):
        return []
    people = select(col(PatientRow.id), PatientRow.search_name, PatientRow.code_key)
    for some in words:
        called = select(PatientKeyRow.patient_id).where(col(PatientKeyRow.key).in_(some))
        people = people.where(col(PatientRow.id).in_(called))
    return [(number, name, code) for number, name, code in session.exec(people) if number is not None]


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
    most = wrong_at_most(word)
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
