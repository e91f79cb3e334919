"""What goes with a score to an LMS; decisions on second looks; who an LMS's roster names

Revision ID: 0018b
Revises: 0018
"""

import sqlalchemy as sa
from alembic import op

revision = "0018b"
down_revision = "0018"


def upgrade() -> None:
    with op.batch_alter_table("lti_scores", schema=None) as batch_op:
        batch_op.add_column(sa.Column("submitted_at", sa.DateTime(timezone=True), nullable=True))
        batch_op.add_column(
            sa.Column("comment", sa.String(length=700), nullable=False, server_default="")
        )
        batch_op.add_column(
            sa.Column("pending", sa.Boolean(), nullable=False, server_default=sa.false())
        )
    op.create_table(
        "second_look_decisions",
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_second_look_decisions_submission_id_submissions"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["by_id"],
            ["users.id"],
            name=op.f("fk_second_look_decisions_by_id_users"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("submission_id", name=op.f("pk_second_look_decisions")),
    )
    op.create_index(op.f("ix_second_look_decisions_by_id"), "second_look_decisions", ["by_id"])
    op.create_table(
        "lti_members",
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(length=255), nullable=False),
        sa.Column("email", sa.String(length=254), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["platform_id"],
            ["lti_platforms.id"],
            name=op.f("fk_lti_members_platform_id_lti_platforms"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"],
            ["users.id"],
            name=op.f("fk_lti_members_user_id_users"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("platform_id", "subject", name=op.f("pk_lti_members")),
    )
    op.create_index(op.f("ix_lti_members_user_id"), "lti_members", ["user_id"])
