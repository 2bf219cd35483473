"""What a new password must not be: short, or among the first that are guessed (NIST SP 800-63B, 3.1.1.2).

No rules of composition: any twelve characters will do that are not on the list of common passwords, no
pattern, and no words that everybody here knows.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable
from functools import cache
from itertools import pairwise

from followup.care.passwords import Passwords, must_fit, normal
from followup.errors import FollowupError
from followup.records.views import Clinic
from followup.said import Said, say

# Of the own words, and of what is left of a password without them.
SHORTEST_WORD = 3
LEAST_LEFT = 6
# A run of so many counts as one; a password needs so many characters outside runs.
SHORTEST_RUN = 3
LEAST_OUTSIDE = 4
_KEYBOARDS = (
    *("1234567890", "qwertyuiop", "asdfghjkl", "zxcvbnm", "qwertzuiop", "yxcvbnm"),
    *("azertyuiop", "qsdfghjklm", "wxcvbn", "1qaz", "2wsx", "3edc", "4rfv", "5tgb", "6yhn", "7ujm"),
)


def stored_password(passwords: Passwords, password: str, *, known: Iterable[str] = ()) -> str:
    """The stored form of a new password. ``known``: texts that whoever guesses tries first.

    Errors: ``password.length``, ``password.pattern``, ``password.common``, ``password.known``.
    """
    must_fit(password)
    _must_be_hard_to_guess(normal(password).casefold(), known)
    return passwords.hash(password)


def known_texts(clinic: Clinic | None, *of_person: str) -> tuple[str, ...]:
    """What everybody knows of the person (log-in, name) and of the clinic."""
    of_clinic = (clinic.name, clinic.code, clinic.address) if clinic else ()
    return ("followup", *of_person, *of_clinic)


def _must_be_hard_to_guess(typed: str, known: Iterable[str]) -> None:
    bare = _bare(typed)
    repeats = not bare or any(map(_repeats, (typed, bare, _without_ends(bare))))
    if repeats or _outside_runs(bare) < LEAST_OUTSIDE:
        raise _refused(
            "pattern", say("this password only repeats itself or follows the keyboard or the alphabet")
        )
    if not _common().isdisjoint({typed, bare, _without_ends(bare)}):
        raise _refused("common", say("this password is among the first that are guessed"))
    left = bare
    for word in sorted(_words(known), key=len, reverse=True):
        left = left.replace(word, "")
    rest = _without_ends(left)
    if left != bare and (len(rest) < LEAST_LEFT or rest in _common()):
        raise _refused(
            "known",
            say("this password is made of the log-in name, the person's name or words of the clinic"),
        )


def _bare(text: str) -> str:
    """Letters with their marks, and digits; no blanks and signs between them."""
    return "".join(one for one in text if unicodedata.category(one)[0] in "LMN")


def _without_ends(text: str) -> str:
    """Without the digits at both ends: they are what is added to a word first."""
    digits = "".join({one for one in text if one.isdecimal()})
    return text.strip(digits)


def _repeats(text: str) -> bool:
    """Whether it is one piece, again and again."""
    return any(text[piece:] == text[:-piece] for piece in range(1, len(text) // 2 + 1))


def _outside_runs(text: str) -> int:
    """How many characters stand in no run along the alphabet, the digits or a keyboard."""
    outside = begin = 0
    while begin < len(text):
        length = max(_run(text[begin:], ord), *(_run(text[begin:], row.find) for row in _KEYBOARDS))
        outside += 0 if length >= SHORTEST_RUN else 1
        begin += length if length >= SHORTEST_RUN else 1
    return outside


def _run(text: str, place: Callable[[str], int]) -> int:
    """How many characters from the first on are neighbours, in one direction or standing still."""
    places = []
    for one in text:
        at = place(one)
        if at < 0:
            break
        places.append(at)
    steps = [after - before for before, after in pairwise(places)]
    if not steps or steps[0] not in (-1, 0, 1):
        return min(len(places), 1)
    return 1 + next((n for n, step in enumerate(steps) if step != steps[0]), len(steps))


def _words(texts: Iterable[str]) -> set[str]:
    found = set()
    for text in texts:
        plain = normal(text).casefold()
        found |= {_bare(plain), *map(_bare, plain.split())}
    return {word for word in found if len(word) >= SHORTEST_WORD}


@cache
def _common() -> frozenset[str]:
    # Here, and not with the others: it is large, and only a new password needs it.
    from zxcvbn.frequency_lists import FREQUENCY_LISTS

    return frozenset(FREQUENCY_LISTS["passwords"])


def _refused(code: str, what: Said) -> FollowupError:
    return FollowupError(
        f"password.{code}",
        what,
        where=say("password"),
        fix=say("choose another, such as four words that have nothing to do with each other"),
    )
