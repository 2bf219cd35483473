"""The store: one transaction per unit of work, and no change without its journal entry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from sqlalchemy import Engine, event, text
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.orm import ORMExecuteState, UOWTransaction
from sqlmodel import Session as Session  # every other room takes it from here
from sqlmodel import SQLModel, select

from followup.errors import FollowupError
from followup.records.duties import PROGRAM
from followup.records.store import engine, journal
from followup.records.store.binding import ALL_SITES, bind_session
from followup.records.store.engine import make_engine
from followup.records.store.kept import READING
from followup.records.store.queue import writers_of
from followup.records.tables import StaffRow, metadata
from followup.records.views import SYSTEM, Actor

# Any fixed number; it names the lock that every writer on PostgreSQL holds.
_WRITER = 36_37_7064
# A server that is alive asks the database for something far more often.
CUT_OFF_MILLISECONDS = 60_000
# What the program writes about itself; everything else needs a journal entry.
UPKEEP_TABLES = frozenset(
    {"heartbeat", "lease", "login_session", "wrong_login", "daily_run", "message", "list_import"}
)


class Unit:
    """One change of the store: its session, who makes it, when, and what the journal will say."""

    def __init__(self, session: Session, actor: Actor, now: datetime) -> None:
        if now.tzinfo is None:
            raise ValueError("now must carry its time zone")
        self.session = session
        self.actor = actor
        self.now = now
        self.entries: list[journal.NewEntry] = []

    def log(self, action: str, subject: str, **details: journal.Detail) -> None:
        """Note what is done. Written when the unit ends; no personal data beyond codes."""
        self.entries.append(journal.NewEntry(action, subject, details))

    def need_role(self, *roles: str) -> None:
        """Refuse, unless the actor has one of these roles."""
        if not self.actor.roles & set(roles):
            asked = [role for role in roles if role != PROGRAM] or roles
            raise FollowupError(
                "role.missing",
                f"{self.actor.login} may not do this",
                fix=f"ask someone with the role {' or '.join(asked)}",
            )

    def need_whole_clinic(self) -> None:
        """Refuse whoever works at one site: what is changed holds for every site."""
        if self.session.info.get("site") is not None:
            raise FollowupError(
                "role.missing",
                f"{self.actor.login} may not do this",
                fix="ask someone whose work it is, or the manager for the role",
            )


class Store:
    """A database with the rules of :mod:`followup.records.store.engine`; safe to share between threads."""

    def __init__(self, engine: Engine, *, site: int | None = None) -> None:
        self.engine = engine
        self.site = site
        self._read_engine = engine.execution_options(**_reading(engine))

    @classmethod
    def open(cls, url: str) -> Store:
        return cls(make_engine(url))

    def for_site(self, site: int | None) -> Store:
        """The same store as the staff of one site see it; None: as it is."""
        return self if site is None else Store(self.engine, site=site)

    def close(self) -> None:
        """Give back every connection. May be called more than once."""
        self.engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one state of the store and changes nothing."""
        with _translated(), Session(self._read_engine, expire_on_commit=False) as session:
            bind_session(session, self.site)
            session.info[READING] = True
            yield session
            session.rollback()

    @contextmanager
    def write(self, actor: Actor, now: datetime, *, patience: int | None = None) -> Iterator[Unit]:
        """One transaction. Leaves nothing behind if it fails or if a change has no journal entry.

        Nothing slow belongs into it, such as setting a sheet: everybody else who stores something waits.
        ``patience``: milliseconds to wait for others, where another time will do as well.
        """
        wait = engine.BUSY_MILLISECONDS if patience is None else patience
        less = {} if patience is None else {engine.PATIENCE: patience}
        writing = self.engine.execution_options(**less) if less else self.engine
        turn = writers_of(self.engine.pool).turn(wait / 1000)
        with _translated(), turn as mine, Session(writing, expire_on_commit=False) as session:
            if not mine:
                raise _busy()
            changed = _watch(session)
            # Whoever works at one site changes nothing of another, through whatever store.
            bind_session(session, self.site if actor.site is None else actor.site)
            _become_the_writer(session, wait)
            _refuse_outdated(session, actor)
            unit = Unit(session, actor, now)
            yield unit
            session.flush()
            if changed - UPKEEP_TABLES and not unit.entries:
                tables = ", ".join(sorted(changed - UPKEEP_TABLES))
                raise RuntimeError(f"a change of {tables} has no journal entry")
            if unit.entries:
                journal.append(session, unit.entries, actor=actor.login, now=now)
            session.commit()

    def settle(self) -> None:
        """Bring SQLite's log into its file and empty it, so that what was deleted does not stay there.

        Where others are at work it is left for the next time; a server clears up by itself.
        """
        if self.engine.dialect.name == "sqlite":
            with self.engine.connect() as connection:
                driver = connection.connection.driver_connection
                assert driver is not None
                driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()

    @contextmanager
    def upkeep(self, now: datetime, *, patience: int | None = None) -> Iterator[Unit]:
        """A unit of the program about itself (heartbeat, lease, last seen): no journal entry needed."""
        with self.write(SYSTEM, now, patience=patience) as unit:
            yield unit


def _become_the_writer(session: Session, wait: int) -> None:
    """From here to the end of the transaction nobody else writes, so that what is read stays true.

    The one rule that keeps every use case from losing what another stored: SQLite begins a writer
    with its lock, PostgreSQL gets the same by a lock of its own that ends with the transaction. Both
    wait as long for the one before and are then refused as busy.
    """
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        return
    # Whoever is cut off in the middle of a transaction must not keep all others waiting for hours.
    session.execute(
        text(
            "SELECT set_config('lock_timeout', :busy, true),"
            " set_config('idle_in_transaction_session_timeout', :gone, true)"
        ),
        {"busy": f"{max(wait, 1)}ms", "gone": f"{CUT_OFF_MILLISECONDS}ms"},
    )
    session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _WRITER})


def _refuse_outdated(session: Session, actor: Actor) -> None:
    """Whoever was switched off, or lost a role or the site, since this request was let in stores nothing."""
    if PROGRAM in actor.roles:
        return
    mine = select(StaffRow.active, StaffRow.roles, StaffRow.site_id).where(StaffRow.login == actor.login)
    found = session.exec(mine, execution_options=ALL_SITES).first()
    if found is None:
        return
    active, roles, site = found
    if not active or not actor.roles <= set(roles) or site != actor.site:
        raise FollowupError(
            "role.missing",
            f"what {actor.login} may do was changed meanwhile; nothing was stored",
            fix="log in again, or ask the manager",
        )


def insert_once(session: Session, table: type[SQLModel], **values: object) -> bool:
    """Insert, unless a unique key says that it was done before; True if it was done now."""
    return bool(insert_new(session, table, [values]))


def insert_new(
    session: Session, table: type[SQLModel], rows: Sequence[Mapping[str, object]], *back: str
) -> list[Any]:
    """Insert those of ``rows`` that no unique key knows; of each the columns ``back``, or its primary key."""
    dialect = postgresql if session.get_bind().dialect.name == "postgresql" else sqlite
    plain = metadata.tables[str(table.__tablename__)]
    # What was inserted comes back: a count of rows is not given by every driver.
    told = [plain.c[name] for name in back] or plain.primary_key.columns
    statement = dialect.insert(plain).on_conflict_do_nothing().returning(*told)
    changed = session.info.get("changed", set())
    before = set(changed)
    done = list(session.execute(statement, rows))
    if not done:
        # Someone was faster: this unit changed nothing that the journal would have to tell.
        changed.intersection_update(before)
    return done


def _reading(engine: Engine) -> dict[str, Any]:
    """Options with which a session sees one state of the store throughout, and takes no lock."""
    if engine.dialect.name == "sqlite":
        return {"reading": True}
    return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}


def _watch(session: Session) -> set[str]:
    """The names of the tables that this session changes, filled in as it goes."""
    changed: set[str] = session.info.setdefault("changed", set())

    def on_flush(flushed: Any, _context: UOWTransaction) -> None:
        for row in (*flushed.new, *flushed.dirty, *flushed.deleted):
            changed.add(row.__tablename__)

    def on_execute(state: ORMExecuteState) -> None:
        if state.is_update or state.is_insert or state.is_delete:
            changed.add(state.statement.table.name)  # type: ignore[attr-defined]

    event.listen(session, "after_flush", on_flush)
    event.listen(session, "do_orm_execute", on_execute)
    return changed


@contextmanager
def _translated() -> Iterator[None]:
    """Refusals of the database that a user can meet, in words."""
    try:
        yield
    except IntegrityError as exc:
        raise conflict() from exc
    except OperationalError as exc:
        if _is_busy(exc):
            raise _busy() from exc
        if _is_full(exc):
            raise FollowupError(
                "store.full",
                "the disk is full or can't be written, nothing was stored",
                fix="free some space, then try again",
            ) from exc
        if exc.connection_invalidated:
            raise FollowupError(
                "store.lost",
                "the database stopped answering; whether this was stored can't be told",
                fix="look whether it is there before doing it again",
            ) from exc
        if exc.statement is None:
            raise FollowupError(
                "store.unreachable",
                "the database can't be reached, nothing was stored",
                fix="try again in a minute; if it stays so, see whether the database runs",
            ) from exc
        raise
    except PoolTimeoutError as exc:
        raise _busy() from exc


def conflict() -> FollowupError:
    """The error for a change that somebody else's at the same moment has overtaken."""
    return FollowupError(
        "store.conflict",
        "someone else changed the same thing at the same moment, so this change was not stored",
        fix="open it again, look, and repeat what is still needed",
    )


def _busy() -> FollowupError:
    return FollowupError(
        "store.busy", "the database is busy, nothing was stored", fix="try again in a few seconds"
    )


def _is_full(exc: DBAPIError) -> bool:
    words = str(exc.orig).lower()
    return any(said in words for said in ("disk is full", "disk i/o error", "no space left"))


def _is_busy(exc: DBAPIError) -> bool:
    words = str(exc.orig).lower()
    return "locked" in words or "deadlock" in words or "lock timeout" in words
