"""Who made an account and whose it is; links of a roster; wrong join codes

A line of the log may have no section, and an exercise no owner.

Revision ID: 0011
Revises: 0014
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0014"

ORIGINS = ("administrator", "roster", "join code", "LMS")


def upgrade() -> None:
    with op.batch_alter_table("users", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column(
                "origin",
                sa.Enum(*ORIGINS, name="origin", native_enum=False, length=20),
                nullable=False,
                server_default="administrator",
            )
        )
        batch_op.add_column(sa.Column("origin_section_id", sa.Integer(), nullable=True))
        batch_op.add_column(
            sa.Column("confirmed", sa.Boolean(), nullable=False, server_default=sa.true())
        )
        batch_op.create_foreign_key(
            batch_op.f("fk_users_origin_section_id"),
            "sections",
            ["origin_section_id"],
            ["id"],
            ondelete="SET NULL",
        )
        batch_op.create_index(
            batch_op.f("ix_users_origin_section_id"), ["origin_section_id"], unique=False
        )
    with op.batch_alter_table("enrolments", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("confirmed", sa.Boolean(), nullable=False, server_default=sa.false())
        )
    with op.batch_alter_table("password_links", schema=None) as batch_op:
        batch_op.add_column(sa.Column("section_id", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("by_id", sa.Integer(), nullable=True))
        batch_op.create_foreign_key(
            batch_op.f("fk_password_links_section_id"),
            "sections",
            ["section_id"],
            ["id"],
            ondelete="CASCADE",
        )
        batch_op.create_foreign_key(
            batch_op.f("fk_password_links_by_id"),
            "users",
            ["by_id"],
            ["id"],
            ondelete="SET NULL",
        )
        batch_op.create_index(
            batch_op.f("ix_password_links_section_id"), ["section_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_password_links_by_id"), ["by_id"], unique=False)
    op.create_table(
        "wrong_codes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sender", sa.String(length=80), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_wrong_codes")),
    )
    with op.batch_alter_table("wrong_codes", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_wrong_codes_sender"), ["sender"], unique=False)
        batch_op.create_index(batch_op.f("ix_wrong_codes_at"), ["at"], unique=False)
    with op.batch_alter_table("authored_exercises", schema=None) as batch_op:
        batch_op.alter_column("owner_id", existing_type=sa.Integer(), nullable=True)
        batch_op.drop_constraint("fk_authored_exercises_owner_id", type_="foreignkey")
        batch_op.create_foreign_key(
            batch_op.f("fk_authored_exercises_owner_id"),
            "users",
            ["owner_id"],
            ["id"],
            ondelete="SET NULL",
        )
    with op.batch_alter_table("grade_events", schema=None) as batch_op:
        batch_op.alter_column("section_id", existing_type=sa.Integer(), nullable=True)
