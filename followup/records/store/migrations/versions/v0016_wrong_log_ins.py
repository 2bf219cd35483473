"""Wrong log-ins by name and origin, wrong passwords by session, and the key of a second factor."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "wrong_login",
        sa.Column("who", Words(), nullable=False),
        sa.Column("origin", Words(), nullable=False),
        sa.Column("wrong", sa.Integer(), nullable=False),
        sa.Column("last_at", Instant(), nullable=False),
        sa.CheckConstraint("wrong >= 1", name=op.f("ck_wrong_login_wrong")),
        sa.PrimaryKeyConstraint("who", "origin", name=op.f("pk_wrong_login")),
    )
    with op.batch_alter_table("staff") as batch:
        batch.drop_constraint(op.f("ck_staff_failed_logins"), type_="check")
        batch.drop_column("failed_logins")
        batch.drop_column("locked_until")
        batch.add_column(sa.Column("second_key", Words(), nullable=False, server_default=""))
        batch.add_column(sa.Column("second_since", Instant(), nullable=True))
        batch.add_column(sa.Column("second_step", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("login_session", sa.Column("origin", Words(), nullable=False, server_default=""))
    op.add_column(
        "login_session", sa.Column("wrong_passwords", sa.Integer(), nullable=False, server_default="0")
    )
