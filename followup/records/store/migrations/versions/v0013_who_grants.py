"""Roles that wait for a second person, passwords that their owner did not choose, browsers of log-ins."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Whoever was there before keeps a password that counts as chosen by its owner.
    op.add_column("staff", sa.Column("password_own", sa.Boolean(), nullable=False, server_default=sa.true()))
    op.add_column("staff", sa.Column("reset_by", Words(), nullable=False, server_default=""))
    op.add_column("staff", sa.Column("reset_at", Instant(), nullable=True))
    op.add_column("login_session", sa.Column("browser", Words(), nullable=False, server_default=""))
    op.create_table(
        "asked_role",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("staff_id", sa.Integer(), nullable=False),
        sa.Column("roles", sa.JSON(), nullable=False),
        sa.Column("asked_by", Words(), nullable=False),
        sa.Column("asked_at", Instant(), nullable=False),
        sa.Column("state", Words(), nullable=False),
        sa.Column("decided_by", Words(), nullable=False),
        sa.Column("decided_at", Instant(), nullable=True),
        sa.CheckConstraint(
            "state IN ('asked', 'granted', 'refused', 'withdrawn', 'alone')", name=op.f("ck_asked_role_state")
        ),
        sa.CheckConstraint("(state = 'asked') = (decided_at IS NULL)", name=op.f("ck_asked_role_decided")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_asked_role_staff_id_staff")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_asked_role")),
    )
    op.create_index("ix_asked_role_staff_id", "asked_role", ["staff_id"])
    op.create_index("ix_asked_role_state", "asked_role", ["state"])
