"""The clinic itself, its staff and their log-ins."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from sqlalchemy import JSON, Text, UniqueConstraint, false, true
from sqlmodel import Field, SQLModel

from followup.records.tables.base import check, one_of

ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager")
ASKED = ("asked", "granted", "refused", "withdrawn", "alone")


class ClinicRow(SQLModel, table=True):
    """One row. ``code`` stands in the QR; ``zone`` is an IANA name; ``calendar`` is calendar JSON.

    ``cap_colours``: the caps of the bottles have the colours that the formulary names.
    ``days_to_tick``: every sheet has them, where nobody chose otherwise. ``keep_years``: how long the law of
    the place wants a record kept after the last visit; NULL: nobody said (``records/people/keeping.toml``).
    """

    __tablename__ = "clinic"
    __table_args__ = (
        check("single", "id = 1"),
        check("code", "length(code) BETWEEN 1 AND 8 AND code = upper(code)"),
        check("keep_years", "keep_years BETWEEN 1 AND 100"),
    )

    id: int = Field(default=1, primary_key=True)
    name: str
    code: str
    phone_day: str
    phone_night: str
    nearest_eye_clinic: str = ""
    address: str = Field(default="", sa_column_kwargs={"server_default": ""})
    zone: str
    sheet_languages: list[str] = Field(sa_type=JSON)
    staff_language: str = "en"
    is_sample: bool = False
    calendar: str = Field(default="{}", sa_type=Text)
    cap_colours: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    days_to_tick: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    keep_years: int | None = None


class StaffRow(SQLModel, table=True):
    """A person who can log in. ``password_hash`` is an Argon2id string, never a password.

    ``site_id`` NULL: works for every site. ``language`` of the pages: a tag, empty where it is the clinic's.
    ``password_own``: whoever logs in with it chose it; else it opens the pages and signs nothing.
    ``reset_by``: who last set a password for this person in place of an older one, at ``reset_at``.
    ``second_key``: of the codes that the log-in asks for beside the password, sealed; it counts from
    ``second_since`` on. ``second_step``: of the last code that was taken, so that each is taken once.
    """

    __tablename__ = "staff"
    __table_args__ = (UniqueConstraint("login"),)

    id: Annotated[int | None, Field(primary_key=True)] = None
    login: str
    name: str
    registration: str = ""
    roles: list[str] = Field(sa_type=JSON)
    password_hash: str
    active: bool = True
    created_at: datetime
    site_id: Annotated[int | None, Field(foreign_key="site.id")] = None
    language: str = Field(default="", sa_column_kwargs={"server_default": ""})
    password_own: bool = Field(default=True, sa_column_kwargs={"server_default": true()})
    reset_by: str = Field(default="", sa_column_kwargs={"server_default": ""})
    reset_at: datetime | None = None
    second_key: str = Field(default="", sa_column_kwargs={"server_default": ""})
    second_since: datetime | None = None
    second_step: int = Field(default=0, sa_column_kwargs={"server_default": "0"})


class AskedRoleRow(SQLModel, table=True):
    """Roles of medicine that a manager wants somebody to have: they act once a second person agrees.

    ``alone``: they act since they were asked for, as there was nobody else who could have agreed.
    """

    __tablename__ = "asked_role"
    __table_args__ = (
        one_of("state", ASKED),
        check("decided", "(state = 'asked') = (decided_at IS NULL)"),
    )

    id: Annotated[int | None, Field(primary_key=True)] = None
    staff_id: int = Field(foreign_key="staff.id", index=True)
    roles: list[str] = Field(sa_type=JSON)
    asked_by: str
    asked_at: datetime
    state: str = Field(default="asked", index=True)
    decided_by: str = ""
    decided_at: datetime | None = None


class LoginSessionRow(SQLModel, table=True):
    """``id`` is the SHA-256 of the opaque id in the cookie: the table can't be replayed.

    ``browser``: what it calls itself, in a few words.
    ``origin``: the network address that it was begun from. ``wrong_passwords``: in a row, where the
    password was asked for once more.
    """

    __tablename__ = "login_session"
    __table_args__ = (check("id", "length(id) = 64"),)

    id: str = Field(primary_key=True)
    staff_id: int = Field(foreign_key="staff.id", index=True)
    created_at: datetime = Field(index=True)
    last_seen: datetime
    expires_at: datetime
    revoked_at: datetime | None = None
    reauthenticated_at: datetime | None = None
    browser: str = Field(default="", sa_column_kwargs={"server_default": ""})
    origin: str = Field(default="", sa_column_kwargs={"server_default": ""})
    wrong_passwords: int = Field(default=0, sa_column_kwargs={"server_default": "0"})


class WrongLoginRow(SQLModel, table=True):
    """Wrong log-ins of a name from an origin; "*" for one of the two counts over all of them.

    ``who``: SHA-256 of the name as typed, since whoever errs types a password there. ``origin``: a network
    address. Emptied daily.
    """

    __tablename__ = "wrong_login"
    __table_args__ = (check("wrong", "wrong >= 1"),)

    who: str = Field(primary_key=True)
    origin: str = Field(primary_key=True)
    wrong: int
    last_at: datetime
