"""Mails on their way, and the kinds that somebody has turned off

Revision ID: 0029
Revises: 0028
"""

import sqlalchemy as sa
from alembic import op

revision = "0029"
down_revision = "0028"


def upgrade() -> None:
    op.create_table(
        "outgoing_mails",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("about", sa.String(length=80), nullable=False),
        sa.Column("path", sa.String(length=80), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("next_try_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("trouble", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_outgoing_mails_user_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_outgoing_mails_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outgoing_mails")),
        sa.UniqueConstraint(
            "user_id",
            "kind",
            "assignment_id",
            "about",
            name=op.f("uq_outgoing_mails_user_id_kind_assignment_id_about"),
        ),
    )
    for column in ("assignment_id", "next_try_at"):
        op.create_index(op.f(f"ix_outgoing_mails_{column}"), "outgoing_mails", [column])
    op.create_table(
        "mails_turned_off",
        sa.Column("user_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_mails_turned_off_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("user_id", "kind", name=op.f("pk_mails_turned_off")),
    )
