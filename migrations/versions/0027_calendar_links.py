"""Links by which calendars read due dates

Revision ID: 0027
Revises: 0026
"""

import sqlalchemy as sa
from alembic import op

revision = "0027"
down_revision = "0026"


def upgrade() -> None:
    op.create_table(
        "calendar_links",
        sa.Column("user_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"],
            ["users.id"],
            name=op.f("fk_calendar_links_user_id_users"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("user_id", name=op.f("pk_calendar_links")),
        sa.UniqueConstraint("key_hash", name=op.f("uq_calendar_links_key_hash")),
    )
