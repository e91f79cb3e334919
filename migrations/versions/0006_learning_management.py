"""Launches, links and choices of learning-management systems; scores that wait for a mend

Revision ID: 0006
Revises: 0005
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    with op.batch_alter_table("lti_platforms", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("more_hosts", sa.String(length=1000), nullable=False, server_default="")
        )
    with op.batch_alter_table("lti_logins", schema=None) as batch_op:
        batch_op.add_column(sa.Column("launch", sa.JSON(), nullable=True))
    with op.batch_alter_table("lti_contexts", schema=None) as batch_op:
        batch_op.add_column(sa.Column("opened_by_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(
            batch_op.f("fk_lti_contexts_opened_by_id"),
            "users",
            ["opened_by_id"],
            ["id"],
            ondelete="SET NULL",
        )
        batch_op.create_index(
            batch_op.f("ix_lti_contexts_opened_by_id"), ["opened_by_id"], unique=False
        )
    with op.batch_alter_table("lti_links", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("title", sa.String(length=200), nullable=False, server_default="")
        )
        batch_op.alter_column("assignment_id", existing_type=sa.Integer(), nullable=True)
    with op.batch_alter_table("lti_scores", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("stopped", sa.Boolean(), nullable=False, server_default=sa.false())
        )
    op.create_table(
        "lti_choices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("context_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("return_url", sa.String(length=1000), nullable=False),
        sa.Column("data", sa.String(), nullable=True),
        sa.Column("takes_line_item", sa.Boolean(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["context_id"],
            ["lti_contexts.id"],
            name=op.f("fk_lti_choices_context_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_lti_choices_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lti_choices")),
    )
    with op.batch_alter_table("lti_choices", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lti_choices_context_id"), ["context_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_lti_choices_expires_at"), ["expires_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_lti_choices_user_id"), ["user_id"], unique=False)
