"""A score that is taken back from a learning-management system

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    with op.batch_alter_table("lti_scores", schema=None) as batch_op:
        batch_op.alter_column("points", existing_type=sa.Float(), nullable=True)
