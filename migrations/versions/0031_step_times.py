"""When each step of a program was made

Revision ID: 0031
Revises: 0030
"""

import sqlalchemy as sa
from alembic import op

revision = "0031"
down_revision = "0030"


def upgrade() -> None:
    op.add_column("program_steps", sa.Column("saved_at", sa.DateTime(timezone=True), nullable=True))
