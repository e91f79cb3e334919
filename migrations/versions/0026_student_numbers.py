"""Student numbers

Revision ID: 0026
Revises: 0025
"""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"


def upgrade() -> None:
    op.add_column("users", sa.Column("student_number", sa.String(length=40), nullable=True))
