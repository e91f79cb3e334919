"""Recorded trial runs

Revision ID: 0002
Revises: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "saved_trials",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("scans", sa.Integer(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("run", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_saved_trials_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_saved_trials_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_saved_trials")),
        sa.UniqueConstraint(
            "assignment_id",
            "user_id",
            "name",
            name=op.f("uq_saved_trials_assignment_id_user_id_name"),
        ),
    )
    with op.batch_alter_table("saved_trials", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_saved_trials_user_id"), ["user_id"], unique=False)
