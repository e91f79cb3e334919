"""The college's time zone

Revision ID: 0016
Revises: 0015
"""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    op.create_table(
        "college",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("time_zone", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_college")),
    )
