"""Corrections that people ask for; how long data is kept, and legal holds

Revision ID: 0019
Revises: 0018c
"""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018c"


def upgrade() -> None:
    op.create_table(
        "correction_requests",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("section_id", sa.Integer(), nullable=False),
        sa.Column("text", sa.String(length=1000), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answer", sa.String(length=1000), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("answered_by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["user_id"],
            ["users.id"],
            name=op.f("fk_correction_requests_user_id_users"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["section_id"],
            ["sections.id"],
            name=op.f("fk_correction_requests_section_id_sections"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["answered_by_id"],
            ["users.id"],
            name=op.f("fk_correction_requests_answered_by_id_users"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_correction_requests")),
    )
    for column in ("user_id", "section_id", "answered_by_id"):
        op.create_index(op.f(f"ix_correction_requests_{column}"), "correction_requests", [column])
    with op.batch_alter_table("users", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("legal_hold", sa.Boolean(), nullable=False, server_default=sa.false())
        )
    with op.batch_alter_table("college", schema=None) as batch_op:
        batch_op.add_column(sa.Column("retention_days", sa.Integer(), nullable=True))
