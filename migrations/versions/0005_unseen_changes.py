"""Who has still to look at a verdict that was replaced

Revision ID: 0005
Revises: 0004
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_table(
        "unseen_changes",
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("score", sa.Double(), nullable=False),
        sa.Column("max_score", sa.Double(), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_unseen_changes_submission_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"],
            ["users.id"],
            name=op.f("fk_unseen_changes_user_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("submission_id", "user_id", name=op.f("pk_unseen_changes")),
    )
    with op.batch_alter_table("unseen_changes", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_unseen_changes_user_id"), ["user_id"], unique=False)
