"""Terms, courses and sections that are archived; the holidays of a term

Revision ID: 0023
Revises: 0022
"""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    for table in ("terms", "courses", "sections"):
        op.add_column(
            table,
            sa.Column("archived", sa.Boolean(), nullable=False, server_default=sa.false()),
        )
    op.create_table(
        "holidays",
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.CheckConstraint("first <= last", name=op.f("ck_holidays_last_after_first")),
        sa.ForeignKeyConstraint(
            ["term_id"],
            ["terms.id"],
            name=op.f("fk_holidays_term_id_terms"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("term_id", "first", name=op.f("pk_holidays")),
    )
