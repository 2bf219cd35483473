"""How a clinic's own tables are read, by name."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "list_mapping",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_list_mapping_site_id_site")),
        sa.PrimaryKeyConstraint("site_id", "name", name=op.f("pk_list_mapping")),
    )
