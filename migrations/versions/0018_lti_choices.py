"""What an LMS accepts of a choice of links; sign-ins and choices inside its frame

Revision ID: 0018
Revises: 0012
"""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0012"


def upgrade() -> None:
    # Sign-ins last ten minutes; those under way are begun anew.
    op.execute(sa.text("DELETE FROM lti_logins"))
    with op.batch_alter_table("lti_logins", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("storage_target", sa.String(length=255), nullable=False, server_default="")
        )
    with op.batch_alter_table("lti_choices", schema=None) as batch_op:
        for name, default in (
            ("takes_links", sa.true()),
            ("takes_several", sa.false()),
            ("takes_window", sa.false()),
        ):
            batch_op.add_column(
                sa.Column(name, sa.Boolean(), nullable=False, server_default=default)
            )
        batch_op.add_column(
            sa.Column("ticket_hash", sa.String(length=64), nullable=False, server_default="")
        )
