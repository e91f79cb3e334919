"""Roles in sections that an LMS gave; the audience of requests for access tokens

Revision ID: 0014b
Revises: 0016
"""

import sqlalchemy as sa
from alembic import op

revision = "0014b"
down_revision = "0016"


def upgrade() -> None:
    with op.batch_alter_table("enrolments", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("from_lms", sa.Boolean(), nullable=False, server_default=sa.false())
        )
    with op.batch_alter_table("lti_platforms", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("token_audience", sa.String(length=1000), nullable=False, server_default="")
        )
    # Nobody wrote down who was enrolled by an LMS; who has come from a course that is connected
    # with the section, without a password of their own, was.
    op.execute(
        sa.text(
            """
            UPDATE enrolments SET from_lms = true WHERE EXISTS (
                SELECT 1 FROM lti_people
                JOIN lti_contexts ON lti_contexts.platform_id = lti_people.platform_id
                JOIN users ON users.id = lti_people.user_id
                WHERE lti_people.user_id = enrolments.user_id
                AND lti_contexts.section_id = enrolments.section_id
                AND users.password_hash IS NULL
            )
            """
        )
    )
