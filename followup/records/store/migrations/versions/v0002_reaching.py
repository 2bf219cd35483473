"""Reaching patients: attempts, standings, messages; several sites in one database."""

from __future__ import annotations

from datetime import date

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_WAYS = "way IN ('call', 'second contact', 'community worker', 'surgeon')"
_OUTCOMES = (
    "outcome IN ('will come', 'no answer', 'wrong number', 'refused', 'moved away', 'died', "
    "'second contact told', 'community worker sent', 'surgeon told')"
)
_STANDINGS = "standing IN ('followed', 'refused', 'moved away', 'died', 'lost to follow-up')"
_READER = "reader IN ('patient', 'carer')"
_CHANNEL = "channel IN ('paper', 'mail', 'gateway', 'folder')"


def upgrade() -> None:
    _sites()
    _attempts()
    _messages()


def _sites() -> None:
    site = op.create_table(
        "site",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", Words(), nullable=False),
        sa.Column("name", Words(), nullable=False),
        sa.Column("phone_day", Words(), nullable=False),
        sa.Column("phone_night", Words(), nullable=False),
        sa.Column("calendar", sa.Text(), nullable=False),
        sa.CheckConstraint("length(code) BETWEEN 1 AND 8", name=op.f("ck_site_code")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site")),
        sa.UniqueConstraint("code", name=op.f("uq_site_code")),
    )
    # Without an id of its own: PostgreSQL's counter must know that the first one is taken.
    op.bulk_insert(site, [{"code": "MAIN", "name": "", "phone_day": "", "phone_night": "", "calendar": ""}])
    _add_site("patient", index=True)
    _add_site("operation_list")
    _add_site("staff", nullable=True)
    _places_by_site()


def _add_site(table: str, *, nullable: bool = False, index: bool = False) -> None:
    with op.batch_alter_table(table) as batch:
        default = None if nullable else "1"
        batch.add_column(sa.Column("site_id", sa.Integer(), nullable=nullable, server_default=default))
        batch.create_foreign_key(op.f(f"fk_{table}_site_id_site"), "site", ["site_id"], ["id"])
    if index:
        op.create_index(op.f(f"ix_{table}_site_id"), table, ["site_id"], unique=False)


def _places_by_site() -> None:
    """The same places, now those of the first site: the key of the table grows by the site."""
    bind = op.get_bind()
    kept = bind.execute(sa.text("SELECT service, day, capacity, taken FROM place")).mappings().all()
    op.drop_table("place")
    place = op.create_table(
        "place",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("service", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("capacity", sa.Integer(), nullable=True),
        sa.Column("taken", sa.Integer(), nullable=False),
        sa.CheckConstraint("capacity IS NULL OR capacity >= 0", name=op.f("ck_place_capacity")),
        sa.CheckConstraint("taken >= 0", name=op.f("ck_place_taken")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_place_site_id_site")),
        sa.PrimaryKeyConstraint("site_id", "service", "day", name=op.f("pk_place")),
    )
    for row in kept:
        # SQLite gives a day back as text, PostgreSQL as a day.
        day = row["day"] if isinstance(row["day"], date) else date.fromisoformat(row["day"])
        bind.execute(place.insert().values(site_id=1, **{**row, "day": day}))


def _attempts() -> None:
    op.create_table(
        "contact_attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("rung", sa.Integer(), nullable=False),
        sa.Column("way", Words(), nullable=False),
        sa.Column("outcome", Words(), nullable=False),
        sa.Column("promised", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("nonce", Words(), nullable=False),
        sa.CheckConstraint(_WAYS, name=op.f("ck_contact_attempt_way")),
        sa.CheckConstraint(_OUTCOMES, name=op.f("ck_contact_attempt_outcome")),
        sa.CheckConstraint("rung >= 0", name=op.f("ck_contact_attempt_rung")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_contact_attempt_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_contact_attempt")),
        sa.UniqueConstraint("nonce", name=op.f("uq_contact_attempt_nonce")),
    )
    op.create_index("ix_contact_attempt_patient_id_at", "contact_attempt", ["patient_id", "at"])
    op.create_table(
        "standing",
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("standing", Words(), nullable=False),
        sa.Column("since", Instant(), nullable=False),
        sa.Column("by", Words(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint(_STANDINGS, name=op.f("ck_standing_standing")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_standing_patient_id_patient")),
        sa.PrimaryKeyConstraint("patient_id", name=op.f("pk_standing")),
    )


def _messages() -> None:
    op.create_table(
        "message_choice",
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("consent", sa.Boolean(), nullable=False),
        sa.Column("reader", Words(), nullable=False),
        sa.Column("channel", Words(), nullable=False),
        sa.Column("address", Words(), nullable=False),
        sa.Column("changed_by", Words(), nullable=False),
        sa.Column("changed_at", Instant(), nullable=False),
        sa.Column("stopped_at", Instant(), nullable=True),
        sa.CheckConstraint(_READER, name=op.f("ck_message_choice_reader")),
        sa.CheckConstraint(_CHANNEL, name=op.f("ck_message_choice_channel")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_message_choice_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("patient_id", name=op.f("pk_message_choice")),
    )
    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", Words(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("kind", Words(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("last_useful", sa.Date(), nullable=False),
        sa.Column("language", Words(), nullable=False),
        sa.Column("reader", Words(), nullable=False),
        sa.Column("channel", Words(), nullable=False),
        sa.Column("address", Words(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("segments", sa.Integer(), nullable=False),
        sa.Column("state", Words(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("next_try", Instant(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("claimed_by", Words(), nullable=False),
        sa.Column("claimed_until", Instant(), nullable=True),
        sa.Column("sent_at", Instant(), nullable=True),
        sa.Column("last_error", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('reminder', 'step change', 'missed')", name=op.f("ck_message_kind")),
        sa.CheckConstraint(
            "state IN ('waiting', 'sent', 'failed', 'left out')", name=op.f("ck_message_state")
        ),
        sa.CheckConstraint(_CHANNEL, name=op.f("ck_message_channel")),
        sa.CheckConstraint(_READER, name=op.f("ck_message_reader")),
        sa.CheckConstraint("tries >= 0", name=op.f("ck_message_tries")),
        sa.ForeignKeyConstraint(["patient_id"], ["patient.id"], name=op.f("fk_message_patient_id_patient")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_message")),
        sa.UniqueConstraint("key", name=op.f("uq_message_key")),
    )
    op.create_index("ix_message_state_next_try", "message", ["state", "next_try"])
