"""Course work: standings, extensions, partners, corrections, the log, targets, LTI

Revision ID: 0003
Revises: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "lti_keys",
        sa.Column("kid", sa.String(length=64), nullable=False),
        sa.Column("private_key", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("retired_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("kid", name=op.f("pk_lti_keys")),
    )
    op.create_table(
        "lti_platforms",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("issuer", sa.String(length=255), nullable=False),
        sa.Column("client_id", sa.String(length=255), nullable=False),
        sa.Column("login_url", sa.String(length=1000), nullable=False),
        sa.Column("token_url", sa.String(length=1000), nullable=False),
        sa.Column("keys_url", sa.String(length=1000), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lti_platforms")),
        sa.UniqueConstraint("issuer", "client_id", name=op.f("uq_lti_platforms_issuer_client_id")),
    )
    op.create_table(
        "lti_deployments",
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("deployment_id", sa.String(length=255), nullable=False),
        sa.ForeignKeyConstraint(
            ["platform_id"],
            ["lti_platforms.id"],
            name=op.f("fk_lti_deployments_platform_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("platform_id", "deployment_id", name=op.f("pk_lti_deployments")),
    )
    op.create_table(
        "lti_logins",
        sa.Column("state_hash", sa.String(length=64), nullable=False),
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("nonce", sa.String(length=64), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["platform_id"],
            ["lti_platforms.id"],
            name=op.f("fk_lti_logins_platform_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("state_hash", name=op.f("pk_lti_logins")),
    )
    with op.batch_alter_table("lti_logins", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lti_logins_expires_at"), ["expires_at"], unique=False)

    op.create_table(
        "lti_people",
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(length=255), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["platform_id"],
            ["lti_platforms.id"],
            name=op.f("fk_lti_people_platform_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_lti_people_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("platform_id", "subject", name=op.f("pk_lti_people")),
    )
    with op.batch_alter_table("lti_people", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lti_people_user_id"), ["user_id"], unique=False)

    op.create_table(
        "outcome_targets",
        sa.Column("course_id", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.String(length=80), nullable=False),
        sa.Column("level", sa.Double(), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.CheckConstraint(
            "level >= 0 AND level <= 1", name=op.f("ck_outcome_targets_level_is_a_share")
        ),
        sa.CheckConstraint(
            "share >= 0 AND share <= 1", name=op.f("ck_outcome_targets_share_is_a_share")
        ),
        sa.ForeignKeyConstraint(
            ["course_id"],
            ["courses.id"],
            name=op.f("fk_outcome_targets_course_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("course_id", "outcome", name=op.f("pk_outcome_targets")),
    )
    op.create_table(
        "password_links",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_password_links_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_password_links")),
    )
    with op.batch_alter_table("password_links", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_password_links_expires_at"), ["expires_at"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_password_links_user_id"), ["user_id"], unique=False)

    op.create_table(
        "lti_contexts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("deployment_id", sa.String(length=255), nullable=False),
        sa.Column("context_id", sa.String(length=255), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("section_id", sa.Integer(), nullable=True),
        sa.Column("memberships_url", sa.String(length=1000), nullable=True),
        sa.ForeignKeyConstraint(
            ["platform_id"],
            ["lti_platforms.id"],
            name=op.f("fk_lti_contexts_platform_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["section_id"],
            ["sections.id"],
            name=op.f("fk_lti_contexts_section_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lti_contexts")),
        sa.UniqueConstraint(
            "platform_id",
            "deployment_id",
            "context_id",
            name=op.f("uq_lti_contexts_platform_id_deployment_id_context_id"),
        ),
    )
    with op.batch_alter_table("lti_contexts", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_lti_contexts_section_id"), ["section_id"], unique=False
        )

    op.create_table(
        "extensions",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("due_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(length=500), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_extensions_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_extensions_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("assignment_id", "user_id", name=op.f("pk_extensions")),
    )
    with op.batch_alter_table("extensions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_extensions_user_id"), ["user_id"], unique=False)

    op.create_table(
        "grade_events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor_id", sa.Integer(), nullable=True),
        sa.Column("section_id", sa.Integer(), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=True),
        sa.Column("student_id", sa.Integer(), nullable=True),
        sa.Column(
            "action",
            sa.Enum(
                "saw gradebook",
                "saw student",
                "saw submission",
                "saw likeness",
                "took a file",
                "set points",
                "took points back",
                "wrote comment",
                "gave time",
                "changed policy",
                name="gradeaction",
                native_enum=False,
                length=20,
            ),
            nullable=False,
        ),
        sa.Column("detail", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["actor_id"], ["users.id"], name=op.f("fk_grade_events_actor_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_grade_events_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["section_id"],
            ["sections.id"],
            name=op.f("fk_grade_events_section_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["student_id"],
            ["users.id"],
            name=op.f("fk_grade_events_student_id"),
            ondelete="SET NULL",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grade_events")),
    )
    with op.batch_alter_table("grade_events", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_grade_events_actor_id"), ["actor_id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_grade_events_assignment_id"), ["assignment_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_grade_events_at"), ["at"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_grade_events_section_id"), ["section_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_grade_events_student_id"), ["student_id"], unique=False
        )

    op.create_table(
        "lti_links",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("context_id", sa.Integer(), nullable=False),
        sa.Column("resource_link_id", sa.String(length=255), nullable=False),
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("line_item", sa.String(length=1000), nullable=True),
        sa.Column("line_items", sa.String(length=1000), nullable=True),
        sa.Column("by_requirement", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_lti_links_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["context_id"],
            ["lti_contexts.id"],
            name=op.f("fk_lti_links_context_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lti_links")),
        sa.UniqueConstraint(
            "context_id", "resource_link_id", name=op.f("uq_lti_links_context_id_resource_link_id")
        ),
    )
    with op.batch_alter_table("lti_links", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_lti_links_assignment_id"), ["assignment_id"], unique=False
        )

    op.create_table(
        "overrides",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("points", sa.Double(), nullable=False),
        sa.Column("reason", sa.String(length=500), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("points >= 0", name=op.f("ck_overrides_points_not_negative")),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_overrides_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["by_id"], ["users.id"], name=op.f("fk_overrides_by_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_overrides_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("assignment_id", "user_id", name=op.f("pk_overrides")),
    )
    with op.batch_alter_table("overrides", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_overrides_by_id"), ["by_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_overrides_user_id"), ["user_id"], unique=False)

    op.create_table(
        "partners",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("partner_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_partners_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["partner_id"], ["users.id"], name=op.f("fk_partners_partner_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_partners_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("assignment_id", "user_id", name=op.f("pk_partners")),
    )
    with op.batch_alter_table("partners", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_partners_partner_id"), ["partner_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_partners_user_id"), ["user_id"], unique=False)

    op.create_table(
        "lti_line_items",
        sa.Column("link_id", sa.Integer(), nullable=False),
        sa.Column("requirement", sa.String(length=20), nullable=False),
        sa.Column("address", sa.String(length=1000), nullable=False),
        sa.ForeignKeyConstraint(
            ["link_id"],
            ["lti_links.id"],
            name=op.f("fk_lti_line_items_link_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("link_id", "requirement", name=op.f("pk_lti_line_items")),
    )
    op.create_table(
        "lti_scores",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("link_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("requirement", sa.String(length=20), nullable=False),
        sa.Column("points", sa.Double(), nullable=False),
        sa.Column("max_points", sa.Double(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("sent_version", sa.Integer(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("next_try_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("trouble", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(
            ["link_id"], ["lti_links.id"], name=op.f("fk_lti_scores_link_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_lti_scores_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lti_scores")),
        sa.UniqueConstraint(
            "link_id",
            "user_id",
            "requirement",
            name=op.f("uq_lti_scores_link_id_user_id_requirement"),
        ),
    )
    with op.batch_alter_table("lti_scores", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_lti_scores_next_try_at"), ["next_try_at"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_lti_scores_user_id"), ["user_id"], unique=False)

    op.create_table(
        "rung_comments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("submission_id", sa.Integer(), nullable=False),
        sa.Column("rung", sa.Integer(), nullable=True),
        sa.Column("text", sa.String(length=2000), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["by_id"], ["users.id"], name=op.f("fk_rung_comments_by_id"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_rung_comments_submission_id"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rung_comments")),
    )
    with op.batch_alter_table("rung_comments", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_rung_comments_by_id"), ["by_id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_rung_comments_submission_id"), ["submission_id"], unique=False
        )

    op.create_table(
        "standings",
        sa.Column("assignment_id", sa.Integer(), nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("queued", sa.Integer(), nullable=False),
        sa.Column("submission_id", sa.Integer(), nullable=True),
        sa.Column("attempt", sa.Integer(), nullable=True),
        sa.Column("submitted_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("days_late", sa.Integer(), nullable=False),
        sa.Column("score", sa.Double(), nullable=True),
        sa.Column("points", sa.Double(), nullable=True),
        sa.Column("max_score", sa.Double(), nullable=True),
        sa.Column("results", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignments.id"],
            name=op.f("fk_standings_assignment_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["submission_id"],
            ["submissions.id"],
            name=op.f("fk_standings_submission_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["user_id"], ["users.id"], name=op.f("fk_standings_user_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("assignment_id", "user_id", name=op.f("pk_standings")),
    )
    with op.batch_alter_table("standings", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_standings_submission_id"), ["submission_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_standings_user_id"), ["user_id"], unique=False)

    with op.batch_alter_table("assignments", schema=None) as batch_op:
        batch_op.add_column(sa.Column("weight", sa.Double(), nullable=False, server_default="1"))
        batch_op.add_column(
            sa.Column("late_per_day", sa.Double(), nullable=False, server_default="0")
        )
        batch_op.add_column(
            sa.Column("in_pairs", sa.Boolean(), nullable=False, server_default=sa.false())
        )

    with op.batch_alter_table("sections", schema=None) as batch_op:
        batch_op.add_column(sa.Column("join_code", sa.String(length=16), nullable=True))
        batch_op.create_index(batch_op.f("ix_sections_join_code"), ["join_code"], unique=True)

    with op.batch_alter_table("users", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("sees_names", sa.Boolean(), nullable=False, server_default=sa.false())
        )
