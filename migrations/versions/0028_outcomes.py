"""The catalogue of outcomes by term, what they feed, and actions for those below target

Targets were set once for all terms; they hold from the oldest term on.

Revision ID: 0028
Revises: 0027
"""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"


def upgrade() -> None:
    op.create_table(
        "program_outcomes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=20), nullable=False),
        sa.Column("statement", sa.String(length=300), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_program_outcomes")),
        sa.UniqueConstraint("code", name=op.f("uq_program_outcomes_code")),
    )
    _make_versions()
    _make_feeds()
    _make_actions()
    op.execute(
        "INSERT INTO outcome_versions "
        "(course_id, outcome, term_id, statement, listed, level, share) "
        "SELECT course_id, outcome, (SELECT id FROM terms ORDER BY begins, id LIMIT 1), '', "
        "false, level, share FROM outcome_targets WHERE EXISTS (SELECT 1 FROM terms)"
    )
    op.drop_table("outcome_targets")


def _make_versions() -> None:
    op.create_table(
        "outcome_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.String(length=80), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("statement", sa.String(length=300), nullable=False),
        sa.Column("listed", sa.Boolean(), nullable=False),
        sa.Column("level", sa.Double(), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.CheckConstraint(
            "level >= 0 AND level <= 1", name=op.f("ck_outcome_versions_level_is_a_share")
        ),
        sa.CheckConstraint(
            "share >= 0 AND share <= 1", name=op.f("ck_outcome_versions_share_is_a_share")
        ),
        sa.ForeignKeyConstraint(
            ["course_id"],
            ["courses.id"],
            name=op.f("fk_outcome_versions_course_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["term_id"], ["terms.id"], name=op.f("fk_outcome_versions_term_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outcome_versions")),
        sa.UniqueConstraint(
            "course_id",
            "outcome",
            "term_id",
            name=op.f("uq_outcome_versions_course_id_outcome_term_id"),
        ),
    )
    op.create_index(op.f("ix_outcome_versions_term_id"), "outcome_versions", ["term_id"])


def _make_feeds() -> None:
    op.create_table(
        "outcome_feeds",
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("program_outcome_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["version_id"],
            ["outcome_versions.id"],
            name=op.f("fk_outcome_feeds_version_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["program_outcome_id"],
            ["program_outcomes.id"],
            name=op.f("fk_outcome_feeds_program_outcome_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("version_id", "program_outcome_id", name=op.f("pk_outcome_feeds")),
    )
    op.create_index(
        op.f("ix_outcome_feeds_program_outcome_id"), "outcome_feeds", ["program_outcome_id"]
    )


def _make_actions() -> None:
    op.create_table(
        "outcome_actions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.String(length=80), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("students", sa.Integer(), nullable=False),
        sa.Column("reached", sa.Integer(), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.Column("finding", sa.String(length=2000), nullable=False),
        sa.Column("action", sa.String(length=2000), nullable=False),
        sa.Column("responsible", sa.String(length=200), nullable=False),
        sa.Column("due", sa.Date(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("result", sa.String(length=2000), nullable=False),
        sa.Column("result_term_id", sa.Integer(), nullable=True),
        sa.Column("closed_by_id", sa.Integer(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "reached <= students", name=op.f("ck_outcome_actions_reached_by_students")
        ),
        sa.ForeignKeyConstraint(
            ["course_id"],
            ["courses.id"],
            name=op.f("fk_outcome_actions_course_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outcome_actions")),
        *(
            sa.ForeignKeyConstraint(
                [column], ["terms.id"], name=op.f(f"fk_outcome_actions_{column}")
            )
            for column in ("term_id", "result_term_id")
        ),
        *(
            sa.ForeignKeyConstraint(
                [column],
                ["users.id"],
                name=op.f(f"fk_outcome_actions_{column}"),
                ondelete="SET NULL",
            )
            for column in ("by_id", "closed_by_id")
        ),
    )
    for column in ("course_id", "term_id", "by_id", "result_term_id", "closed_by_id"):
        op.create_index(op.f(f"ix_outcome_actions_{column}"), "outcome_actions", [column])
