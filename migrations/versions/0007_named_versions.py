"""Versions of a program kept under a name

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.create_table(
        "named_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("program", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_named_versions_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_named_versions_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_named_versions")),
        sa.UniqueConstraint(
            "assignment_id",
            "user_id",
            "name",
            name=op.f("uq_named_versions_assignment_id_user_id_name"),
        ),
    )
    with op.batch_alter_table("named_versions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_named_versions_user_id"), ["user_id"], unique=False)
