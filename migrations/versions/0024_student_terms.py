"""Accommodations; students who join late, withdraw or are incomplete; extra credit

Revision ID: 0024
Revises: 0023
"""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"


def upgrade() -> None:
    op.add_column(
        "sections",
        sa.Column("extra_credit", sa.Boolean(), nullable=False, server_default=sa.false()),
    )
    for column in ("owes_from", "due_until"):
        op.add_column("enrolments", sa.Column(column, sa.DateTime(timezone=True), nullable=True))
    op.add_column(
        "enrolments",
        sa.Column("incomplete", sa.Boolean(), nullable=False, server_default=sa.false()),
    )
    op.create_table(
        "accommodations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("time_factor", sa.Double(), nullable=False),
        sa.Column("extra_days", sa.Integer(), nullable=False),
        sa.Column("extra_attempts", sa.Integer(), nullable=False),
        sa.Column("begins_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.String(length=500), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("time_factor >= 1", name=op.f("ck_accommodations_no_less_time")),
        sa.CheckConstraint("extra_days >= 0", name=op.f("ck_accommodations_no_fewer_days")),
        sa.CheckConstraint("extra_attempts >= 0", name=op.f("ck_accommodations_no_fewer_attempts")),
        sa.ForeignKeyConstraint(
            ["user_id"],
            ["users.id"],
            name=op.f("fk_accommodations_user_id_users"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["by_id"], ["users.id"], name=op.f("fk_accommodations_by_id_users"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accommodations")),
    )
    for column in ("user_id", "by_id"):
        op.create_index(op.f(f"ix_accommodations_{column}"), "accommodations", [column])
