"""Passwords: Argon2id hashes (RFC 9106), checked in the same time whether or not the log-in exists."""

from __future__ import annotations

import secrets
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from followup.errors import FollowupError
from followup.said import say

SHORTEST = 10
LONGEST = 200


class Passwords:
    """Hashes and checks. ``hasher`` sets the cost; the library's default is the second choice of RFC 9106."""

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()
        self._nobody = self._hasher.hash(secrets.token_hex(16))

    def hash(self, password: str) -> str:
        """The stored form. Raises ``password.length`` outside 10 to 200 characters."""
        if not SHORTEST <= len(password) <= LONGEST:
            raise FollowupError(
                "password.length",
                say("a password has {shortest} to {longest} characters", shortest=SHORTEST, longest=LONGEST),
                where=say("password"),
                fix=say("choose another"),
            )
        return self._hasher.hash(password)

    def matches(self, stored: str | None, password: str) -> bool:
        """Whether ``password`` is the stored one. ``None`` (no such person) takes as long and is False."""
        try:
            self._hasher.verify(stored or self._nobody, password[: LONGEST + 1])
        except (VerificationError, InvalidHashError):
            return False
        return stored is not None


@cache
def usual_passwords() -> Passwords:
    """Hashes at the usual cost, made ready once."""
    return Passwords()
