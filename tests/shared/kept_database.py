"""A PostgreSQL database that tests use one after the other: emptied in between, not made anew."""

from __future__ import annotations

from sqlalchemy import Engine, insert, text
from sqlalchemy.exc import DBAPIError

from followup.records.store.engine import make_engine
from followup.records.store.migrations import schema_state
from followup.records.tables import SiteRow, metadata


def database_url(admin: Engine, name: str) -> str:
    """The URL of another database of the same server."""
    return admin.url.set(database=name).render_as_string(hide_password=False)


# Tables that hold rows, sequences that were asked: a test fills few, and TRUNCATE takes long for each.
_FILLED = " UNION ALL ".join(f"SELECT '{t}' WHERE EXISTS (SELECT FROM {t})" for t in metadata.tables)
# A moved clinic sets its sequences without asking them: pg_sequences shows nothing of that.
_SEQUENCES = "SELECT sequencename FROM pg_sequences"
_COUNTED = "SELECT '{0}' FROM {0} WHERE is_called OR last_value > 1"


def emptied(url: str) -> bool:
    """Empty a store; False where a test changed more than rows."""
    engine = make_engine(url)
    empty = {"phone_night": "", "calendar": ""}
    try:
        if schema_state(engine) != "current":
            return False
        with engine.begin() as connection:
            connection.execute(text("ALTER TABLE journal DISABLE TRIGGER journal_only_grows"))
            # Nobody asks whether what is left refers to what went: nothing is left.
            connection.execute(text("SET LOCAL session_replication_role = replica"))
            for table in connection.execute(text(_FILLED)).scalars().all():
                connection.execute(text(f"DELETE FROM {table}"))
            sequences = connection.execute(text(_SEQUENCES)).scalars().all()
            counted = " UNION ALL ".join(_COUNTED.format(sequence) for sequence in sequences)
            for sequence in connection.execute(text(counted)).scalars().all():
                connection.execute(text(f"ALTER SEQUENCE {sequence} RESTART"))
            connection.execute(insert(SiteRow).values(code="MAIN", name="", phone_day="", **empty))
            connection.execute(text("ALTER TABLE journal ENABLE TRIGGER journal_only_grows"))
    except DBAPIError:
        return False
    finally:
        engine.dispose()
    return True


def run(admin: Engine, statement: str) -> None:
    with admin.connect() as connection:
        connection.execute(text(statement))
