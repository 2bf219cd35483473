"""Passwords: Argon2id hashes (RFC 9106), checked in the same time whether or not the log-in exists."""

from __future__ import annotations

import secrets
import unicodedata
from functools import cache
from math import inf

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from followup.errors import FollowupError
from followup.records.store.queue import FairQueue
from followup.said import say

SHORTEST = 12
LONGEST = 200
# A hash takes 64 MiB and a processor: never more at a time, whoever asks.
MOST_AT_ONCE = 2
# Strangers beyond that wait for one of these places or are refused at once.
MOST_WAITING = 4


class Passwords:
    """Hashes and checks. ``hasher`` sets the cost; the library's default is the second choice of RFC 9106."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()
        self._nobody = self._hasher.hash(secrets.token_hex(16))
        self._turns = FairQueue(MOST_AT_ONCE)

    def hash(self, password: str) -> str:
        """The stored form. Raises ``password.length`` outside 12 to 200 characters."""
        plain = must_fit(password)
        with self._turns.turn():
            return self._hasher.hash(plain)

    def matches(self, stored: str | None, password: str, *, stranger: bool = False) -> bool:
        """Whether ``password`` is the stored one. ``None`` (no such person) takes as long and is False.

        A ``stranger`` waits in a short queue, and beyond it is refused as ``login.busy`` before any work;
        whoever is logged in always gets a turn.
        """
        with self._turns.turn(most_before=MOST_WAITING if stranger else inf) as mine:
            if not mine:
                raise FollowupError(
                    "login.busy",
                    say("too many are logging in at this moment"),
                    fix=say("try again in a moment"),
                )
            # Older hashes are of what was typed. Both are always tried, so that the time tells nothing.
            forms = dict.fromkeys((normal(password), password))
            tries = [self._is(stored, one[: LONGEST + 1]) for one in forms]
        return any(tries) and stored is not None

    def rehashed(self, stored: str, password: str) -> str | None:
        """The stored form at the cost of today of a password that matched; None where it has that already."""
        if not self._hasher.check_needs_rehash(stored):
            return None
        with self._turns.turn():
            return self._hasher.hash(normal(password))

    def _is(self, stored: str | None, password: str) -> bool:
        try:
            return self._hasher.verify(stored or self._nobody, password)
        except (VerificationError, InvalidHashError):
            return False


def must_fit(password: str) -> str:
    """The password as it is hashed. Error ``password.length`` outside 12 to 200 characters."""
    plain = normal(password)
    if not SHORTEST <= len(plain) <= LONGEST:
        raise FollowupError(
            "password.length",
            say("a password has {shortest} to {longest} characters", shortest=SHORTEST, longest=LONGEST),
            where=say("password"),
            fix=say("choose another"),
        )
    return plain


def normal(password: str) -> str:
    """The same text however a keyboard makes it: every blank a space, accents composed (RFC 8265, 4.2.2)."""
    spaced = "".join(" " if unicodedata.category(one) == "Zs" else one for one in password)
    return unicodedata.normalize("NFC", spaced)


@cache
def usual_passwords() -> Passwords:
    """Hashes at the usual cost, made ready once."""
    return Passwords()
