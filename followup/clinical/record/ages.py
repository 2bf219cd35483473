"""How old a person is on a day, and what is known of it where only the year of birth is."""

from __future__ import annotations

from datetime import date


def years_old(born: date, on: date) -> int:
    """Whole years on the day ``on``; one more from the birthday on."""
    return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def youngest(born: date | None, year: int | None, on: date) -> int:
    """The age; where only the year is known, as of somebody born on its last day."""
    return years_old(born or date(year or on.year, 12, 31), on)


def oldest(born: date | None, year: int | None, on: date) -> int:
    """The age; where only the year is known, as of somebody born on its first day."""
    return years_old(born or date(year or on.year, 1, 1), on)


def age_words(born: date | None, year: int | None, on: date) -> str:
    """The age as people write it; where only the year is known, both that it could be ("70-71")."""
    if born:
        return str(years_old(born, on))
    years = oldest(None, year, on)
    return f"{years - 1}-{years}" if years > 0 else "0"
