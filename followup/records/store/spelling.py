"""What a search of a name may be for: the ends of its words, and what is left where letters are wrong.

Two words that differ in n letters (one wrong, missing, too many, two exchanged) become one where at most n
are left out of each; it is enough to look at how they begin. So the rows of these parts are asked for by an
index, however many people there are.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

# How many letters may be wrong in a word of this length, and from which length on it is looked at at all.
ONE_FROM, TWO_FROM = 4, 8
BEGINNING = 7
"""So many first letters are compared with some left out."""
_LEFT_OUT = "-"


def wrong_at_most(word: str) -> int:
    """How many letters of a typed word may be wrong."""
    return 0 if len(word) < ONE_FROM else 1 if len(word) < TWO_FROM else 2


def parts_of(word: str) -> frozenset[str]:
    """By what a word of a name is found: each of its ends, and its beginning with letters left out."""
    # The shortest word that two wrong letters may be compared with is two letters shorter.
    most = 2 if len(word) >= TWO_FROM - 2 else 1
    return frozenset({word[i:] for i in range(len(word))} | set(left_out(word, most)))


def left_out(word: str, most: int) -> Iterator[str]:
    """The beginning of a word as it is, and with up to ``most`` letters left out."""
    start = word[:BEGINNING]
    for count in range(min(most, len(start)) + 1):
        for gone in combinations(range(len(start)), count):
            yield _LEFT_OUT + "".join(letter for i, letter in enumerate(start) if i not in gone)


def after(beginning: str) -> str:
    """What stands behind every text that begins so, as both databases order texts by their code points."""
    return beginning + "\U0010ffff"
