"""Hidden runs that an instructor has released to a section

Revision ID: 0033
Revises: 0032
"""

import sqlalchemy as sa
from alembic import op

revision = "0033"
down_revision = "0032"


def upgrade() -> None:
    op.create_table(
        "released_runs",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("requirement", sa.String(length=20), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_released_runs_assignment_id_assignments"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["by_id"],
            ["users.id"],
            name=op.f("fk_released_runs_by_id_users"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("assignment_id", "requirement", name=op.f("pk_released_runs")),
    )
    op.create_index(op.f("ix_released_runs_by_id"), "released_runs", ["by_id"])
