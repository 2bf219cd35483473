"""How sheets were printed, what was taught, what is in stock."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sheet_choice",
        sa.Column("sheet_id", Words(), nullable=False),
        sa.Column("options", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_sheet_choice_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("sheet_id", name=op.f("pk_sheet_choice")),
    )
    op.create_table(
        "teach_back",
        sa.Column("sheet_id", Words(), nullable=False),
        sa.Column("shown", sa.JSON(), nullable=False),
        sa.Column("asked", sa.Integer(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["sheet_id"], ["sheet.id"], name=op.f("fk_teach_back_sheet_id_sheet")),
        sa.PrimaryKeyConstraint("sheet_id", name=op.f("pk_teach_back")),
    )
    op.create_table(
        "stock_count",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("medicine", Words(), nullable=False),
        sa.Column("bottles", sa.Integer(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.CheckConstraint("bottles >= 0", name=op.f("ck_stock_count_bottles")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_stock_count_site_id_site")),
        sa.PrimaryKeyConstraint("site_id", "medicine", name=op.f("pk_stock_count")),
    )
