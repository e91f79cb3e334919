"""Supervised assignments, and who sits at them

Revision ID: 0032
Revises: 0031
"""

import sqlalchemy as sa
from alembic import op

revision = "0032"
down_revision = "0031"


def upgrade() -> None:
    op.add_column("assignments", sa.Column("sitting_minutes", sa.Integer(), nullable=True))
    op.add_column("assignments", sa.Column("pass_code", sa.String(length=16), nullable=True))
    op.create_table(
        "sittings",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("seat", sa.String(length=40), nullable=False),
        sa.Column("session_hash", sa.String(length=64), nullable=False),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("more_seconds", sa.Integer(), nullable=False),
        sa.Column("closed", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_sittings_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_sittings_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("assignment_id", "user_id", name=op.f("pk_sittings")),
    )
    op.create_index(op.f("ix_sittings_user_id"), "sittings", ["user_id"])
    op.create_index(op.f("ix_sittings_ends_at"), "sittings", ["ends_at"])
