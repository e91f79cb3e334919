"""Students who are excused from an exercise

Revision ID: 0022
Revises: 0021
"""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"


def upgrade() -> None:
    op.create_table(
        "excuses",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=500), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_excuses_assignment_id_assignments"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_excuses_user_id_users"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["by_id"], ["users.id"], name=op.f("fk_excuses_by_id_users"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("assignment_id", "user_id", name=op.f("pk_excuses")),
    )
    for column in ("user_id", "by_id"):
        op.create_index(op.f(f"ix_excuses_{column}"), "excuses", [column])
