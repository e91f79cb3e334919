"""Exercises that instructors write, their versions, and verdicts that were replaced

Revision ID: 0004
Revises: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "authored_exercises",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("slug", sa.String(length=80), nullable=False),
        sa.Column("owner_id", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column(
            "state",
            sa.Enum(
                "draft", "published", "retired", name="lifestate", native_enum=False, length=20
            ),
            nullable=False,
        ),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("programs", sa.JSON(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("findings", sa.JSON(), nullable=False),
        sa.Column("findings_of", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["owner_id"],
            ["users.id"],
            name=op.f("fk_authored_exercises_owner_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_authored_exercises")),
        sa.UniqueConstraint("slug", name=op.f("uq_authored_exercises_slug")),
    )
    with op.batch_alter_table("authored_exercises", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_authored_exercises_owner_id"), ["owner_id"], unique=False
        )

    op.create_table(
        "exercise_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("exercise_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("programs", sa.JSON(), nullable=False),
        sa.Column("published_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(length=1000), nullable=False),
        sa.Column("open_findings", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["exercise_id"],
            ["authored_exercises.id"],
            name=op.f("fk_exercise_versions_exercise_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exercise_versions")),
        sa.UniqueConstraint(
            "exercise_id", "version", name=op.f("uq_exercise_versions_exercise_id_version")
        ),
    )
    op.create_table(
        "earlier_verdicts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("exercise_version", sa.Integer(), nullable=False),
        sa.Column("score", sa.Double(), nullable=False),
        sa.Column("max_score", sa.Double(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("marked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("replaced_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_earlier_verdicts_submission_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_earlier_verdicts")),
    )
    with op.batch_alter_table("earlier_verdicts", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_earlier_verdicts_submission_id"), ["submission_id"], unique=False
        )
