"""Wilson's score interval of a share."""

from __future__ import annotations


def wilson(count: int, of: int, percent: float) -> tuple[float, float]:
    """Both ends in percent, without continuity correction, of ``count`` of ``of``; ``percent`` such as 95."""
    # It takes long to import: only whoever asks for an interval waits for it.
    from scipy.stats import binomtest

    found = binomtest(count, of).proportion_ci(percent / 100, method="wilson")
    return 100 * float(found.low), 100 * float(found.high)
