"""Which telephone number was tried."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("contact_attempt", sa.Column("number", Words(), nullable=False, server_default=""))
