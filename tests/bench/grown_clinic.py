"""A sample clinic grown to a thousand patients: its rows copied under new codes and names, none invented.

The copies' sheets have codes of their own; their journal entries are left out, so that the copies' plans
count as not verified, as those from before the journal bound them.
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
from collections.abc import Callable, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sqlmodel import Session, col, select

from followup.recall.codes.codes import new_sheet_id
from followup.records.people.keys import put_keys
from followup.records.store.engine import make_engine, sqlite_url
from followup.records.tables import PatientKeyRow, PatientRow

PATIENTS = 1000
VISITS = 160
# Every so manieth copy is two weeks behind: its visits were missed, and it stands on the list to reach.
_LATE_EVERY = 5
_LATE = timedelta(days=14)

Row = dict[str, Any]
Change = Callable[[Row], Row]


def grow(database: Path, *, patients: int = PATIENTS, visits: int = VISITS, today: date) -> None:
    """Copy the patients of a sample clinic until it has as many, and as many visits on ``today``."""
    with sqlite3.connect(database) as store:
        store.row_factory = sqlite3.Row
        everybody = [row["id"] for row in store.execute("SELECT id FROM patient ORDER BY id")]
        copy, number = len(everybody), 0
        while copy < patients:
            number += 1
            late = _LATE if number % _LATE_EVERY == 0 else timedelta()
            for patient in everybody[: patients - copy]:
                _copy(store, patient, number, late)
            copy += len(everybody)
        coming = [
            row[0]
            for row in store.execute(
                "SELECT DISTINCT patient_id FROM trip WHERE day = ?"
                " AND status IN ('proposed', 'booked') ORDER BY patient_id LIMIT 12",
                [str(today)],
            )
        ]
        while (
            store.execute(
                "SELECT count(*) FROM trip WHERE day = ? AND status <> 'cancelled'", [str(today)]
            ).fetchone()[0]
            < visits
        ):
            number += 1
            for patient in coming:
                _copy(store, patient, number, timedelta())
        store.execute("UPDATE place SET capacity = capacity * 20, taken = taken * 15")
        store.execute(
            "INSERT INTO hand_out_day SELECT DISTINCT c.id, json_extract(b.value, '$.handed_over')"
            " FROM care_plan c, json_each(c.gist, '$.supply') b"
            " WHERE c.status = 'active' AND c.id NOT IN (SELECT plan_id FROM hand_out_day)"
        )
    _let_be_found(database)
    # Beside the connection's own transaction: SQLite learns how its tables have grown.
    with sqlite3.connect(database) as store:
        store.execute("ANALYZE")


def _let_be_found(database: Path) -> None:
    """The copies by their codes and names, as the program itself does it."""
    engine = make_engine(sqlite_url(database), pooled=False)
    with Session(engine) as session:
        known = select(PatientKeyRow.patient_id)
        put_keys(session, session.exec(select(PatientRow).where(col(PatientRow.id).not_in(known))).all())
        session.commit()
    engine.dispose()


def operated_on(database: Path, day: date, count: int) -> int:
    """Let ``count`` people with a signed plan have been operated on ``day``, their sheets not printed yet."""
    with sqlite3.connect(database) as store:
        chosen = [
            row[0]
            for row in store.execute(
                "SELECT patient_id FROM care_plan WHERE status = 'active' AND patient_id NOT IN"
                " (SELECT patient_id FROM operation WHERE day = ?) ORDER BY patient_id DESC LIMIT ?",
                [str(day), count],
            )
        ]
        for patient in chosen:
            store.execute(
                "UPDATE operation SET day = ? WHERE id = (SELECT max(id) FROM operation"
                " WHERE patient_id = ?)",
                [str(day), patient],
            )
            mine = "(SELECT id FROM sheet WHERE patient_id = ?)"
            store.execute(f"DELETE FROM sheet_choice WHERE sheet_id IN {mine}", [patient])
            store.execute("DELETE FROM sheet WHERE patient_id = ?", [patient])
    return len(chosen)


def records_to_import(database: Path, count: int) -> str:
    """``count`` records that nobody has entered yet, a line each, for ``followup import``."""
    with sqlite3.connect(database) as store:
        bodies = [
            row[0]
            for row in store.execute(
                "SELECT v.body FROM record_version v JOIN patient p ON p.id = v.patient_id"
                " AND p.record_number = v.number JOIN care_plan c ON c.patient_id = p.id"
                " AND c.status = 'active' WHERE v.body NOT LIKE '%\"reviews\":[{%' LIMIT 40"
            )
        ]
    lines = []
    for number in range(count):
        record = json.loads(bodies[number % len(bodies)])
        record["patient"] |= {"code": f"IM-{number:05}", "name": f"Import {_letters(number)}"}
        for operation in record["operations"]:
            operation.pop("decided", None)
        lines.append(json.dumps(record, ensure_ascii=False))
    return "\n".join(lines) + "\n"


def sample_clinic(command: str, folder: Path, day: date) -> None:
    """The sample clinic of the program itself, without its printed sheets."""
    subprocess.run([command, "demo", "--folder", str(folder), "--on", str(day), "--no-serve"], check=True)


def _copy(store: sqlite3.Connection, patient: int, number: int, late: timedelta) -> None:
    """One patient again with everything that hangs on the person."""
    who = dict(store.execute("SELECT * FROM patient WHERE id = ?", [patient]).fetchone())
    code, name = f"{who['code']}-{number}", f"{who['name']} {_letters(number)}"
    folded = f"{who['search_name']} {_letters(number).casefold()}"
    # The program's own folding leaves out what stands between the parts of a code.
    new = _put(
        store,
        "patient",
        who
        | {
            "id": None,
            "code": code,
            "name": name,
            "search_name": folded,
            "code_key": f"{who['code_key']}-{number}",
        },
    )

    def named(row: Row) -> Row:
        text = row["body"]
        for was, now in ((who["code"], code), (who["name"], name)):
            text = text.replace(json.dumps(was, ensure_ascii=False), json.dumps(now, ensure_ascii=False))
        return {"body": text}

    _rows(store, "record_version", patient, new, named)
    _rows(store, "operation", patient, new)
    # No two plans of a clinic say the same: nothing that was read of one may stand for its copies.
    plans = _rows(
        store, "care_plan", patient, new, lambda row: named(row) | {"gist": row["gist"] + " " * number}
    )
    store.executemany(
        "UPDATE care_plan SET replaced_by = ? WHERE id = ?",
        [
            (plans.get(row["replaced_by"]), row["id"])
            for row in store.execute(
                "SELECT id, replaced_by FROM care_plan WHERE patient_id = ?", [new]
            ).fetchall()
        ],
    )
    _rows(
        store,
        "trip",
        patient,
        new,
        lambda row: {
            "care_plan_id": plans[row["care_plan_id"]],
            "arrival_nonce": row["arrival_nonce"] and f"{row['arrival_nonce']}-{number}",
            **(_earlier(row, late) if late and row["status"] in ("proposed", "booked") else {}),
        },
    )
    sheets = _rows(
        store,
        "sheet",
        patient,
        new,
        lambda row: {
            "id": new_sheet_id(),
            "care_plan_id": plans[row["care_plan_id"]],
            "replaced_by_plan": plans.get(row["replaced_by_plan"]),
        },
    )
    for old, copied in sheets.items():
        for choice in store.execute("SELECT * FROM sheet_choice WHERE sheet_id = ?", [old]).fetchall():
            _put(store, "sheet_choice", dict(choice) | {"sheet_id": copied})
    _rows(store, "contact_attempt", patient, new, lambda row: {"nonce": f"{row['nonce']}-{number}"})
    _rows(store, "handing", patient, new, lambda row: {"plan_id": plans[row["plan_id"]]})


def _rows(
    store: sqlite3.Connection, table: str, patient: int, new: int, change: Change = lambda row: {}
) -> Mapping[Any, Any]:
    """The patient's rows of a table for the copy; by the old key the new one."""
    keys: dict[Any, Any] = {}
    for found in store.execute(
        f"SELECT * FROM {table} WHERE patient_id = ? ORDER BY rowid", [patient]
    ).fetchall():
        row = dict(found)
        copied = row | {"id": None, "patient_id": new} | change(row)
        rowid = _put(store, table, copied)
        keys[row["id"]] = copied["id"] or rowid
    return keys


def _earlier(row: Row, late: timedelta) -> Row:
    return {name: str(date.fromisoformat(row[name]) - late) for name in ("day", "window_start", "window_end")}


def _put(store: sqlite3.Connection, table: str, row: Row) -> int:
    names = ", ".join(f'"{name}"' for name in row)
    marks = ", ".join("?" * len(row))
    return store.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", list(row.values())).lastrowid or 0


def _letters(number: int) -> str:
    """A number as a name that has no digit: 0 is Aa, 27 Bb."""
    return chr(65 + number // 26 % 26) + chr(97 + number % 26)
