"""Tables that were sent in and are looked at before they are stored."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "list_import",
        sa.Column("id", Words(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("mapping", Words(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("state", Words(), nullable=False),
        sa.Column("way", Words(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("touched_at", Instant(), nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("refused", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_list_import_site_id_site")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_list_import")),
    )
    op.create_index(op.f("ix_list_import_at"), "list_import", ["at"])
