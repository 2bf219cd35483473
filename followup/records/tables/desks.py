"""What the desks note: how a sheet was printed, what was taught, in stock and given, how lists are read."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any

from sqlalchemy import JSON, ForeignKeyConstraint, Text
from sqlmodel import Field, SQLModel

from followup.records.tables.base import check


class SheetChoiceRow(SQLModel, table=True):
    """How a sheet was printed (size, paper, second language...) and on which days its visits lay then, so
    that it prints the same again."""

    __tablename__ = "sheet_choice"

    sheet_id: str = Field(primary_key=True, foreign_key="sheet.id")
    options: dict[str, Any] = Field(sa_type=JSON)


class TeachBackRow(SQLModel, table=True):
    """What the patient showed or said back when the sheet was explained; ``asked`` counts the items."""

    __tablename__ = "teach_back"

    sheet_id: str = Field(primary_key=True, foreign_key="sheet.id")
    shown: list[int] = Field(sa_type=JSON)
    asked: int
    by: str
    at: datetime


class StockCountRow(SQLModel, table=True):
    """The last count of one medicine's bottles on the shelf of a site."""

    __tablename__ = "stock_count"
    __table_args__ = (check("bottles", "bottles >= 0"),)

    site_id: int = Field(default=1, primary_key=True, foreign_key="site.id")
    medicine: str = Field(primary_key=True)
    bottles: int
    by: str
    at: datetime


class HandingRow(SQLModel, table=True):
    """Bottles that one person was given at one time, as the plan in force named them.

    ``bottles``: course, medicine, eye and number of each. ``day``: the clinic's.
    """

    __tablename__ = "handing"
    __table_args__ = (
        ForeignKeyConstraint(["plan_id", "patient_id"], ["care_plan.id", "care_plan.patient_id"]),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    patient_id: int = Field(index=True)
    plan_id: int = Field(index=True)
    bottles: list[dict[str, Any]] = Field(sa_type=JSON)
    day: date = Field(index=True)
    by: str
    at: datetime
    taken_back_at: datetime | None = None


class ListMappingRow(SQLModel, table=True):
    """How a clinic's own tables are read (``exchange/lists/mapping.py``), by the name it gave that."""

    __tablename__ = "list_mapping"

    site_id: int = Field(primary_key=True, foreign_key="site.id")
    name: str = Field(primary_key=True)
    body: str = Field(sa_type=Text)
    by: str
    at: datetime


class ListImportRow(SQLModel, table=True):
    """A table that somebody sent in and looks at before it is stored: for a day, on no backup.

    ``state``: see ``STATES`` of ``records/house/list_imports.py``; ``done`` of ``total`` are done in it.
    ``way``: which rows are to be stored. ``result``: what came of it, JSON; ``refused``: the rows that were
    not stored, as a file of the kind that was sent.
    """

    __tablename__ = "list_import"

    id: str = Field(primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    by: str
    at: datetime = Field(index=True)
    name: str
    content: bytes
    mapping: str = ""
    body: str = Field(default="", sa_type=Text)
    state: str
    way: str = ""
    done: int = 0
    total: int = 0
    touched_at: datetime
    result: str = Field(default="", sa_type=Text)
    refused: bytes = b""
