"""How Alembic runs here: on the connection it is given, inside that connection's transaction."""

from __future__ import annotations

from alembic import context

from followup.records.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    compare_type=True,
)
context.run_migrations()
