"""A clinic's past in bulk: people operated on years ago, whose visits are done and whose plans ended.

What happens now stays as it is, so that a store of any size has the same day. The past's plans and records
are a few words and no whole documents (a million of them would fill the disk): nobody reads those on a day.
Names are built of syllables, and there are the more of them the more people there are.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from itertools import chain
from typing import Any

from sqlalchemy import Engine, text

from followup.records.store.spelling import parts_of
from followup.records.tables import metadata

_YEARS = 10
_SYLLABLES = [a + b for a in "bdfgjklmnprstvwz" for b in ("a", "e", "i", "o", "u", "an", "el", "or")]
# The days after the operation on which a visit was.
_AFTER = (1, 7, 28, 42, 60)
VISITS_EACH = len(_AFTER)
Row = dict[str, Any]


class Past:
    """``visits`` visits of people whose plans ended before ``today``, from the ids ``first`` on."""

    def __init__(
        self, visits: int, today: date, first: dict[str, int], known: set[str], seed: int = 7
    ) -> None:
        """``known``: the words of names that the store knows already."""
        self.people, self.today, self.first, self.known = visits // VISITS_EACH, today, first, known
        self._dice = random.Random(seed)
        # A hundred times the people bear some ten times the names, as in any register.
        self.given = self._names(200 + int(self.people**0.5), 2)
        self.family = self._names(400 + 4 * int(self.people**0.5), 3)

    def _names(self, count: int, syllables: int) -> list[str]:
        found = {"".join(self._dice.choices(_SYLLABLES, k=syllables)) for _ in range(count)}
        return sorted(found)

    def name(self, i: int) -> tuple[str, str]:
        # The square makes some names common, and many rare.
        return (
            self.given[int((i * 7919 % 10_007 / 10_007) ** 2 * len(self.given))],
            self.family[int((i * 104_729 % 100_003 / 100_003) ** 2 * len(self.family))],
        )

    def operated(self, i: int) -> date:
        return self.today - timedelta(days=200 + i * 365 * _YEARS // max(1, self.people))

    def tables(self) -> Iterator[tuple[str, Iterator[Row]]]:
        """Each table and its rows, parents first."""
        yield "patient", map(self._patient, range(self.people))
        keys = sorted((key, i) for i in range(self.people) for key in self._keys(i))
        yield "patient_key", ({"key": key, "patient_id": self._id("patient", i)} for key, i in keys)
        words = sorted({*self.given, *self.family} - self.known)
        yield "name_part", ({"part": part, "word": word} for word in words for part in parts_of(word))
        yield "record_version", map(self._record, range(self.people))
        yield "operation", map(self._operation, range(self.people))
        yield "care_plan", map(self._plan, range(self.people))
        yield "hand_out_day", (self._hand_out(i, days) for i in range(self.people) for days in (1, 28))
        yield "trip", (self._trip(i, k) for i in range(self.people) for k in range(VISITS_EACH))
        yield "trip_transition", map(self._transition, range(self.people))
        yield "sheet", map(self._sheet, range(self.people))
        yield "contact_attempt", map(self._call, range(0, self.people, 5))
        yield "journal", map(self._entry, range(self.people))

    def code(self, i: int) -> str:
        return f"H-{i:07}"

    def phone(self, i: int) -> str:
        return f"+44 20 7{i % 10_000_000:07}"

    def _id(self, table: str, i: int) -> int:
        return self.first[table] + i

    def _of(self, i: int, **more: Any) -> Row:
        return {"patient_id": self._id("patient", i), **more}

    def _patient(self, i: int) -> Row:
        given, family = self.name(i)
        return {
            **{"id": self._id("patient", i), "code": self.code(i), "code_key": self.code(i).casefold()},
            **{"name": f"{given.title()} {family.title()}", "search_name": f"{given} {family}"},
            **{"birth_year": 1940 + i % 60, "language": "en", "record_number": 1, "site_id": 1},
            "telephones": json.dumps([{"number": self.phone(i), "whose": "own"}]),
            "entered_at": _at(self.operated(i)),
        }

    def _keys(self, i: int) -> set[str]:
        digits = "".join(c for c in self.phone(i) if c.isdigit())
        return {*self.name(i), f"code {self.code(i).casefold()}", f"phone {digits[::-1]}"}

    def _record(self, i: int) -> Row:
        number, at = self._id("record_version", i), _at(self.operated(i))
        return self._of(i, id=number, number=1, body="{}", entered_by="past", entered_at=at)

    def _operation(self, i: int) -> Row:
        eye = ("right", "left")[i % 2]
        return self._of(i, id=self._id("operation", i), eye=eye, day=str(self.operated(i)))

    def _plan(self, i: int) -> Row:
        day = self.operated(i)
        at, over = _at(day), _at(day + timedelta(days=60))
        return self._of(
            i,
            **{"id": self._id("care_plan", i), "number": 1, "status": "completed", "record_number": 1},
            **{"as_of": str(day), "body": "{}", "edits": "[]", "reason": "", "protocol_hash": "ab" * 32},
            **{"engine": "1", "drafted_by": "past", "drafted_at": at, "signed_by": "past", "signed_at": at},
            **{"ended_at": over, "ended_reason": "over", "gist": ""},
        )

    def _hand_out(self, i: int, days: int) -> Row:
        day = self.operated(i) + timedelta(days=days)
        return {"plan_id": self._id("care_plan", i), "day": str(day)}

    def _trip(self, i: int, k: int) -> Row:
        start = self.operated(i) + timedelta(days=_AFTER[k])
        day, at = str(start), _at(start)
        return self._of(
            i,
            **{"id": self._id("trip", i * VISITS_EACH + k), "care_plan_id": self._id("care_plan", i)},
            **{
                "number": k + 1,
                "day": day,
                "window_start": day,
                "window_end": str(start + timedelta(days=2)),
            },
            **{"status": "fulfilled", "serves": '["right:week"]', "services": '["review"]', "tier": "C"},
            **{"overbooked": "[]", "cannot_move": 0, "holds_places": 0, "served": '["right:week"]'},
            **{"arrived_at": at, "arrival_nonce": f"past-{i}-{k}", "seen_on": day, "fulfilled_at": at},
        )

    def _transition(self, i: int) -> Row:
        at = _at(self.operated(i) + timedelta(days=10))
        trip = self._id("trip", i * VISITS_EACH + 2)
        number = self._id("trip_transition", i)
        return {"id": number, "trip_id": trip, "kind": "late", "became_at": at, "noticed_at": at}

    def _sheet(self, i: int) -> Row:
        at = _at(self.operated(i))
        return self._of(
            i,
            **{"id": f"~{i:09}", "care_plan_id": self._id("care_plan", i), "issue": 1, "language": "en"},
            **{"printed_at": at, "printed_by": "past", "reason": "", "handed_over_at": at},
            **{"handed_over_by": "past", "handed_to": "patient", "how": "paper"},
        )

    def _call(self, i: int) -> Row:
        day = self.operated(i) + timedelta(days=10)
        return self._of(
            i,
            **{"id": self._id("contact_attempt", i), "at": _at(day), "day": str(day), "by": "past"},
            **{"rung": 0, "way": "call", "outcome": "will come", "note": "", "nonce": f"past-{i}"},
            number="",
        )

    def _entry(self, i: int) -> Row:
        """Of no chain: who checks the journal of such a store finds it broken."""
        return {
            **{"number": self._id("journal", i), "at": _at(self.operated(i)), "actor": "past"},
            **{"action": "record entered", "subject": f"patient:{self.code(i)}", "details": "{}"},
            **{"previous": f"{i:064x}", "hash": f"{i + 1:064x}"},
        }


def grow_back(engine: Engine, visits: int, today: date, kind: Callable[..., Past] = Past) -> Past:
    """Give a store a past of this ``kind``, so that it holds ``visits`` visits in all."""
    with engine.connect() as connection:
        stored = connection.execute(text("SELECT count(*) FROM trip")).scalar_one()
        first = {
            name: connection.execute(text(f"SELECT coalesce(max({key}), 0) + 1 FROM {name}")).scalar_one()
            for name, key in _COUNTED
        }
        known = set(connection.execute(text("SELECT DISTINCT word FROM name_part")).scalars())
    past = kind(visits - stored, today, first, known)
    grown = list(past.tables())
    # Made anew at the end: millions of rows in order are faster than one by one.
    indexes = [index for table, _ in grown for index in metadata.tables[table].indexes]
    with engine.begin() as connection:
        for index in indexes:
            index.drop(connection)
    for table, rows in grown:
        _insert(engine, table, rows)
    with engine.begin() as connection:
        for index in indexes:
            index.create(connection)
    if engine.dialect.name == "postgresql":
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            for table, key in _COUNTED[:-1]:
                counter = f"pg_get_serial_sequence('{table}', '{key}')"
                connection.execute(text(f"SELECT setval({counter}, (SELECT max({key}) FROM {table}))"))
            connection.execute(text("VACUUM ANALYZE"))
    return past


_COUNTED = (
    *((name, "id") for name in ("patient", "record_version", "operation", "care_plan", "trip")),
    *((name, "id") for name in ("trip_transition", "contact_attempt")),
    ("journal", "number"),
)


_FAST = {
    "sqlite": ("PRAGMA synchronous = OFF", "PRAGMA cache_size = -600000", "BEGIN"),
    "postgresql": ("SET TIME ZONE 'UTC'", "SET synchronous_commit = off"),
}


def _insert(engine: Engine, table: str, rows: Iterator[Row]) -> None:
    first = next(rows, None)
    if first is None:
        return
    names, left = ", ".join(f'"{name}"' for name in first), chain([first], rows)
    with _driver(engine) as driver:
        if engine.dialect.name == "postgresql":
            with driver.cursor() as cursor, cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in left:
                    copy.write_row(list(row.values()))
            return
        marks = ", ".join("?" * len(first))
        driver.executemany(
            f"INSERT INTO {table} ({names}) VALUES ({marks})", (tuple(row.values()) for row in left)
        )


@contextmanager
def _driver(engine: Engine) -> Iterator[Any]:
    with engine.connect() as connection:
        driver = connection.connection.driver_connection
        # For this alone: a store that is half made is made again.
        for setting in _FAST[engine.dialect.name]:
            driver.execute(setting)
        yield driver
        driver.commit()


def _at(day: date) -> str:
    return f"{day} 08:30:00.000000"
