"""Signatures under the report of a course in a term

Revision ID: 0030
Revises: 0029
"""

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0029"


def upgrade() -> None:
    op.create_table(
        "report_signatures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("capacity", sa.String(length=120), nullable=False),
        sa.Column("remarks", sa.String(length=2000), nullable=False),
        sa.Column("figures", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["course_id"],
            ["courses.id"],
            name=op.f("fk_report_signatures_course_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["term_id"], ["terms.id"], name=op.f("fk_report_signatures_term_id")
        ),
        sa.ForeignKeyConstraint(
            ["by_id"], ["users.id"], name=op.f("fk_report_signatures_by_id"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_report_signatures")),
    )
    for column in ("course_id", "term_id", "by_id"):
        op.create_index(op.f(f"ix_report_signatures_{column}"), "report_signatures", [column])
