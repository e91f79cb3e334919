"""From what the numbers of a submission's exercise were drawn

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    with op.batch_alter_table("submissions", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("seed", sa.String(length=40), nullable=False, server_default="")
        )
    # The default was for the rows of before: they had the exercise as it was written.
    with op.batch_alter_table("submissions", schema=None) as batch_op:
        batch_op.alter_column("seed", server_default=None)
