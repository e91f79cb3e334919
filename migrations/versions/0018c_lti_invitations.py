"""Leave for an LMS to register itself

Revision ID: 0018c
Revises: 0018b
"""

import sqlalchemy as sa
from alembic import op

revision = "0018c"
down_revision = "0018b"


def upgrade() -> None:
    op.create_table(
        "lti_invitations",
        sa.Column("ticket_hash", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("hosts", sa.String(length=1000), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("ticket_hash", name=op.f("pk_lti_invitations")),
    )
    op.create_index(op.f("ix_lti_invitations_expires_at"), "lti_invitations", ["expires_at"])
