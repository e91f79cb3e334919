"""What a cause of several requirements costs, and whether it counts once

Revision ID: 0020
Revises: 0019
"""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"


def upgrade() -> None:
    with op.batch_alter_table("assignments", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("cause_once", sa.Boolean(), nullable=False, server_default=sa.false())
        )
    # Earlier verdicts know no causes, so that each requirement counts by itself.
    with op.batch_alter_table("verdicts", schema=None) as batch_op:
        batch_op.add_column(sa.Column("score_by_cause", sa.Double(), nullable=True))
    op.execute(sa.text("UPDATE verdicts SET score_by_cause = score"))
    with op.batch_alter_table("verdicts", schema=None) as batch_op:
        batch_op.alter_column("score_by_cause", existing_type=sa.Double(), nullable=False)
