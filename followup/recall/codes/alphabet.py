"""The 32 characters of a code: digits and capital letters without I, L, O and U.

Those four are left out because they are read as 1, 1, 0 and V, on paper and by telephone.
"""

from __future__ import annotations

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
BITS = 5


def encode(number: int, length: int) -> str:
    """``number`` in ``length`` characters of five bits each, the highest first.

    >>> encode(32, 2)
    '10'
    """
    return "".join(ALPHABET[number >> BITS * place & 31] for place in reversed(range(length)))
