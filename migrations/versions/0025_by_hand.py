"""Requirements whose result a teacher has set; snippets of comments

Revision ID: 0025
Revises: 0024
"""

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"


def upgrade() -> None:
    op.add_column("verdicts", sa.Column("by_hand", sa.Double(), nullable=False, server_default="0"))
    op.create_table(
        "results_by_hand",
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("requirement", sa.String(length=20), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.Column("reason", sa.String(length=500), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "share >= 0 AND share <= 1", name=op.f("ck_results_by_hand_share_is_a_share")
        ),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_results_by_hand_submission_id_submissions"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["by_id"],
            ["users.id"],
            name=op.f("fk_results_by_hand_by_id_users"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("submission_id", "requirement", name=op.f("pk_results_by_hand")),
    )
    op.create_index(op.f("ix_results_by_hand_by_id"), "results_by_hand", ["by_id"])
    op.create_table(
        "comment_snippets",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("text", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"],
            ["users.id"],
            name=op.f("fk_comment_snippets_user_id_users"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_comment_snippets")),
    )
    op.create_index(op.f("ix_comment_snippets_user_id"), "comment_snippets", ["user_id"])
