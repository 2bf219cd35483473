"""The table of roles and routes as tests read it, and what the door of a route answered."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

EVERYBODY = "everybody"
ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager")
# Lines of the table as they are written: a right, not a form of words, is what is compared.
_TABLE = Path(__file__).parents[1] / "desks" / "who_may.toml"
WHO_MAY: dict[tuple[str, str], frozenset[str]] = {
    tuple(route.split(" ")): frozenset(who.split(" "))  # type: ignore[misc]
    for section in tomllib.loads(_TABLE.read_text("utf-8")).values()
    for route, who in section.items()
}
EXAMPLES = {
    "code": "NO-SUCH-CODE",
    "plan": "999999",
    "other": "999998",
    "sheet": "0000000000",
    "trip": "999999",
    "message": "999999",
    "alert": "999999",
    "eye": "right",
    "on": "2027-03-02",
    "number": "1",
    "login": "nobody-by-this-name",
    "desk": "surgeon",
    "name": "none.woff2",
    "session": "0123456789abcdef",
    "table": "0123456789abcdef",
    "asked": "999999",
}


def address_of(path: str) -> str:
    """An address of the route at which nothing is."""
    return re.sub(r"{(\w+)}", lambda part: EXAMPLES[part[1]], path)


def door(answer) -> str:
    """What the door said: ``open``, ``not this role``, ``log in first``; not what lies behind it."""
    text = answer.text
    if answer.status_code == 403 and "may not open this page" in text:
        return "not this role"
    if answer.status_code == 303 and answer.headers["location"].startswith("/log-in?then="):
        return "log in first"
    if answer.status_code == 401 and ("You are not logged in" in text or "login.needed" in text):
        return "log in first"
    return "open"


def ask(browser, method: str, path: str):
    """Ask as the page would, with nothing in the form: it is refused at the door or behind it."""
    return browser.request(method, address_of(path), data={} if method == "POST" else None)
