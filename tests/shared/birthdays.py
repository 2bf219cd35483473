"""Whole years of age by the calendar: the day before a birthday, the day itself, the day after.

Whoever was born on 29 February is a year older on 1 March where the year has no such day.
"""

from __future__ import annotations

from datetime import date

# Born, day, years of age: counted on the fingers.
AGES = [
    (date(1955, 6, 2), date(2026, 6, 1), 70),
    (date(1955, 6, 2), date(2026, 6, 2), 71),
    (date(1955, 6, 2), date(2026, 6, 3), 71),
    # A later month with an earlier day, and an earlier month with a later one.
    (date(1955, 7, 1), date(2026, 6, 30), 70),
    (date(1955, 5, 31), date(2026, 6, 1), 71),
    (date(1955, 12, 31), date(2026, 12, 30), 70),
    (date(1955, 12, 31), date(2026, 12, 31), 71),
    (date(1955, 12, 31), date(2027, 1, 1), 71),
    (date(1956, 1, 1), date(2026, 12, 31), 70),
    (date(1956, 1, 1), date(2027, 1, 1), 71),
    (date(1956, 2, 29), date(2027, 2, 28), 70),
    (date(1956, 2, 29), date(2027, 3, 1), 71),
    (date(1956, 2, 29), date(2028, 2, 28), 71),
    (date(1956, 2, 29), date(2028, 2, 29), 72),
    (date(1956, 2, 29), date(2028, 3, 1), 72),
    (date(1955, 2, 28), date(2028, 2, 29), 73),
    (date(1955, 3, 1), date(2028, 2, 29), 72),
]
