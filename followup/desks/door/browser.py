"""What a browser calls itself, in a few words, so that people know their own log-ins in a list."""

from __future__ import annotations

import re

MOST = 60
_SYSTEM = re.compile(r"\(([^()]*)\)")
_PRODUCT = re.compile(r"([A-Za-z][A-Za-z_-]*)/\d")
# What every browser says, whichever it is.
_EVERYBODYS = frozenset({"mozilla", "applewebkit", "gecko", "version", "mobile", "safari"})


def browser_words(user_agent: str) -> str:
    """The browser's own name and its computer's, as it tells them; empty where it tells nothing."""
    plain = "".join(c for c in user_agent[:400] if c.isascii() and c.isprintable())
    products = [one.strip() for one in _PRODUCT.findall(_SYSTEM.sub(" ", plain))]
    own = [one for one in products if one.lower() not in _EVERYBODYS] or products
    system = _SYSTEM.search(plain)
    parts = [one.strip() for one in system[1].split(";")][:2] if system else []
    return ", ".join(one for one in (*own[-1:], *parts) if one)[:MOST]
