"""What lists ask for is stored: of plans their gist and the days of their bottles, of names their parts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import Any

import sqlalchemy as sa
from alembic import op

from followup.clinical.careplan import CarePlan, read_stored
from followup.clinical.words.gist import gist_of, gist_to_store
from followup.records.store.spelling import parts_of

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

_INDEXED = (
    ("standing", "standing"),
    ("trip_transition", "became_at"),
    ("daily_run", "day"),
    ("message", "day"),
    ("message_choice", "changed_at"),
    ("login_session", "created_at"),
)
_ROWS = 500
_Key = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    op.add_column("care_plan", sa.Column("gist", sa.Text(), nullable=False, server_default=""))
    for table, column in _INDEXED:
        op.create_index(f"ix_{table}_{column}", table, [column])
    # By day alone it led through every visit that was ever done.
    op.drop_index("ix_trip_seen_on", "trip")
    op.create_index("ix_trip_status_seen_on", "trip", ["status", "seen_on"])
    days = op.create_table(
        "hand_out_day",
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan_id"], ["care_plan.id"], name=op.f("fk_hand_out_day_plan_id_care_plan")
        ),
        sa.PrimaryKeyConstraint("plan_id", "day", name=op.f("pk_hand_out_day")),
    )
    op.create_index("ix_hand_out_day_day", "hand_out_day", ["day"])
    keys = op.create_table(
        "patient_key",
        sa.Column("key", _Key, nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_patient_key_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("key", "patient_id", name=op.f("pk_patient_key")),
    )
    op.create_index("ix_patient_key_patient_id", "patient_key", ["patient_id"])
    parts = op.create_table(
        "name_part",
        sa.Column("part", _Key, nullable=False),
        sa.Column("word", _Key, nullable=False),
        sa.PrimaryKeyConstraint("part", "word", name=op.f("pk_name_part")),
    )
    connection = op.get_bind()
    _fill_plans(connection, days)
    _fill_people(connection, keys, parts)
    op.drop_column("patient", "search_phones")


def _fill_plans(connection: sa.Connection, days: sa.Table) -> None:
    plans = sa.table("care_plan", *map(sa.column, ("id", "status", "body", "gist")))
    change = plans.update().where(plans.c.id == sa.bindparam("plan")).values(gist=sa.bindparam("said"))
    for rows in _batches(connection, plans, ("status", "body")):
        read = [(row, plan) for row in rows if (plan := _read(row.body)) is not None]
        if read:
            connection.execute(
                change, [{"plan": row.id, "said": gist_to_store(gist_of(plan))} for row, plan in read]
            )
        _put(
            connection,
            days,
            (
                {"plan_id": row.id, "day": day}
                for row, plan in read
                if row.status == "active"
                for day in {bottle.handed_over for bottle in plan.supply}
            ),
        )


def _fill_people(connection: sa.Connection, keys: sa.Table, parts: sa.Table) -> None:
    people = sa.table("patient", *map(sa.column, ("id", "code_key", "search_name", "search_phones")))
    words: set[str] = set()
    for rows in _batches(connection, people, ("code_key", "search_name", "search_phones")):
        words.update(word for row in rows for word in row.search_name.split())
        _put(connection, keys, ({"key": key, "patient_id": row.id} for row in rows for key in _keys(row)))
    _put(connection, parts, ({"part": part, "word": word} for word in words for part in parts_of(word)))


def _keys(row: Any) -> set[str]:
    numbers = {"phone " + number[::-1] for number in row.search_phones.split()}
    return {*row.search_name.split(), f"code {row.code_key}", *numbers}


def _read(body: str) -> CarePlan | None:
    """A plan that can't be read has no gist: lists name its patient as one with a damaged entry."""
    try:
        return read_stored(body)
    except ValueError:
        return None


def _batches(connection: sa.Connection, table: Any, names: Iterable[str]) -> Iterator[list[Any]]:
    """Every row, some at a time: all of a large store's plans would not fit into memory."""
    query = sa.select(table.c.id, *(table.c[name] for name in names)).order_by(table.c.id).limit(_ROWS)
    last = 0
    while rows := list(connection.execute(query.where(table.c.id > last))):
        yield rows
        last = rows[-1].id


def _put(connection: sa.Connection, table: sa.Table, rows: Iterable[Mapping[str, Any]]) -> None:
    left = iter(rows)
    while some := list(islice(left, _ROWS)):
        connection.execute(table.insert(), some)
