"""After how many attempts a student had passed

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    with op.batch_alter_table("standings", schema=None) as batch_op:
        batch_op.add_column(sa.Column("passed_after", sa.Integer(), nullable=True))
