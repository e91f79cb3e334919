"""Accounts by issuer and subject of a sign-in provider; enrolments that follow the LMS

Revision ID: 0014
Revises: 0010
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0010"


def upgrade() -> None:
    op.create_table(
        "openid_people",
        sa.Column("issuer", sa.String(length=255), nullable=False),
        sa.Column("subject", sa.String(length=255), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_openid_people_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("issuer", "subject", name=op.f("pk_openid_people")),
    )
    with op.batch_alter_table("openid_people", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_openid_people_user_id"), ["user_id"], unique=False)
