"""Whether the caps of the clinic's bottles have the published colours."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("clinic", sa.Column("cap_colours", sa.Boolean(), nullable=False, server_default=sa.false()))
