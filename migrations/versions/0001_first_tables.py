"""People, courses, programs, submissions and verdicts

Revision ID: 0001
Revises: nothing
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "courses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=20), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_courses")),
        sa.UniqueConstraint("code", name=op.f("uq_courses_code")),
    )
    op.create_table(
        "refused_attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("email", sa.String(length=254), nullable=False),
        sa.Column("address", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_refused_attempts")),
    )
    with op.batch_alter_table("refused_attempts", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_refused_attempts_address"), ["address"], unique=False)
        batch_op.create_index(batch_op.f("ix_refused_attempts_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_refused_attempts_email"), ["email"], unique=False)

    op.create_table(
        "terms",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("begins", sa.Date(), nullable=False),
        sa.Column("ends", sa.Date(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_terms")),
        sa.UniqueConstraint("name", name=op.f("uq_terms_name")),
    )
    op.create_table(
        "users",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("email", sa.String(length=254), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("listed_as", sa.String(length=200), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "student",
                "instructor",
                "department",
                "administrator",
                name="role",
                native_enum=False,
                length=20,
            ),
            nullable=False,
        ),
        sa.Column("password_hash", sa.String(length=200), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_users")),
        sa.UniqueConstraint("email", name=op.f("uq_users_email")),
    )
    op.create_table(
        "browser_sessions",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_browser_sessions_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_browser_sessions")),
    )
    with op.batch_alter_table("browser_sessions", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_browser_sessions_expires_at"), ["expires_at"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_browser_sessions_user_id"), ["user_id"], unique=False)

    op.create_table(
        "sections",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=10), nullable=False),
        sa.ForeignKeyConstraint(["course_id"], ["courses.id"], name=op.f("fk_sections_course_id")),
        sa.ForeignKeyConstraint(["term_id"], ["terms.id"], name=op.f("fk_sections_term_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sections")),
        sa.UniqueConstraint(
            "course_id", "term_id", "number", name=op.f("uq_sections_course_id_term_id_number")
        ),
    )
    with op.batch_alter_table("sections", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sections_term_id"), ["term_id"], unique=False)

    op.create_table(
        "assignments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("section_id", sa.Integer(), nullable=False),
        sa.Column("exercise", sa.String(length=100), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("opens_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closes_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=True),
        sa.Column(
            "counting",
            sa.Enum("best", "last", name="counting", native_enum=False, length=20),
            nullable=False,
        ),
        sa.Column(
            "feedback",
            sa.Enum("verdict", "sentence", "chart", name="feedback", native_enum=False, length=20),
            nullable=False,
        ),
        sa.Column("feedback_from_attempt", sa.Integer(), nullable=False),
        sa.Column("feedback_after_due", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "attempts IS NULL OR attempts >= 1", name=op.f("ck_assignments_at_least_one_attempt")
        ),
        sa.CheckConstraint(
            "closes_at IS NULL OR due_at <= closes_at", name=op.f("ck_assignments_closes_after_due")
        ),
        sa.CheckConstraint(
            "feedback_from_attempt >= 1", name=op.f("ck_assignments_feedback_from_an_attempt")
        ),
        sa.CheckConstraint("opens_at <= due_at", name=op.f("ck_assignments_due_after_opening")),
        sa.ForeignKeyConstraint(
            ["section_id"],
            ["sections.id"],
            name=op.f("fk_assignments_section_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_assignments")),
        sa.UniqueConstraint(
            "section_id", "exercise", name=op.f("uq_assignments_section_id_exercise")
        ),
    )
    op.create_table(
        "enrolments",
        sa.Column("section_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "student", "instructor", "grader", name="sectionrole", native_enum=False, length=20
            ),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(
            ["section_id"],
            ["sections.id"],
            name=op.f("fk_enrolments_section_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_enrolments_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("section_id", "user_id", name=op.f("pk_enrolments")),
    )
    with op.batch_alter_table("enrolments", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_enrolments_user_id"), ["user_id"], unique=False)

    op.create_table(
        "submissions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("program", sa.JSON(), nullable=False),
        sa.Column("submitted_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column(
            "state",
            sa.Enum("queued", "marked", name="submissionstate", native_enum=False, length=20),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_submissions_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_submissions_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_submissions")),
        sa.UniqueConstraint(
            "assignment_id",
            "user_id",
            "attempt",
            name=op.f("uq_submissions_assignment_id_user_id_attempt"),
        ),
    )
    with op.batch_alter_table("submissions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_submissions_state"), ["state"], unique=False)
        batch_op.create_index(batch_op.f("ix_submissions_user_id"), ["user_id"], unique=False)

    op.create_table(
        "working_programs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_working_programs_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_working_programs_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_working_programs")),
        sa.UniqueConstraint(
            "assignment_id", "user_id", name=op.f("uq_working_programs_assignment_id_user_id")
        ),
    )
    with op.batch_alter_table("working_programs", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_working_programs_user_id"), ["user_id"], unique=False)

    op.create_table(
        "program_steps",
        sa.Column("working_program_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("program", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["working_program_id"],
            ["working_programs.id"],
            name=op.f("fk_program_steps_working_program_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("working_program_id", "position", name=op.f("pk_program_steps")),
    )
    op.create_table(
        "verdicts",
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("exercise_version", sa.Integer(), nullable=False),
        sa.Column("suite_hash", sa.String(length=80), nullable=False),
        sa.Column("engine_version", sa.String(length=80), nullable=False),
        sa.Column("score", sa.Double(), nullable=False),
        sa.Column("max_score", sa.Double(), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("marked_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_verdicts_submission_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("submission_id", name=op.f("pk_verdicts")),
    )
    op.create_table(
        "requirement_results",
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("requirement", sa.String(length=20), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column(
            "status",
            sa.Enum("met", "not met", "not exercised", name="status", native_enum=False, length=20),
            nullable=False,
        ),
        sa.Column("known_by", sa.String(length=200), nullable=False),
        sa.Column("score", sa.Double(), nullable=False),
        sa.Column("max_score", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["verdicts.submission_id"],
            name=op.f("fk_requirement_results_submission_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint(
            "submission_id", "requirement", name=op.f("pk_requirement_results")
        ),
    )
