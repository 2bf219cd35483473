"""Cells of a table that a spreadsheet opens: none begins like a formula, which it would run.

What begins like one, also after blanks or quotes, gets an apostrophe in front. What came out so is read
back as it was.
"""

from __future__ import annotations

import re

# OWASP, CSV Injection: = + - @, tab, carriage return, line feed, and the full-width forms of the signs.
_FORMULA = re.compile(r"'*[\s\"\u200b\ufeff]*[=+\-@\t\r\n＝＋－＠]")


def guarded(text: str) -> str:
    """The cell as it goes out.

    >>> guarded("=1+1"), guarded("1+1")
    ("'=1+1", '1+1')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def unguarded(cell: str) -> str:
    """What the cell held before :func:`guarded`."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell[1:]) else cell
