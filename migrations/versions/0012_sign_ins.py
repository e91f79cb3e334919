"""Sessions that tell where they are, second factors, guesses that are counted, disabled accounts

Revision ID: 0012
Revises: 0014b
"""

import unicodedata
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0014b"

MOMENT = sa.DateTime(timezone=True)
USERS = sa.table("users", sa.column("id", sa.Integer), sa.column("email", sa.String))
SESSIONS = sa.table(
    "browser_sessions",
    sa.column("expires_at", MOMENT),
    sa.column("idle_until", MOMENT),
    sa.column("begun_at", MOMENT),
    sa.column("seen_at", MOMENT),
    sa.column("lasting", sa.Boolean),
    sa.column("stage", sa.String),
    sa.column("address", sa.String),
    sa.column("browser", sa.String),
)
ADDED = (
    sa.Column("idle_until", MOMENT, nullable=True),
    sa.Column("begun_at", MOMENT, nullable=True),
    sa.Column("seen_at", MOMENT, nullable=True),
    sa.Column("lasting", sa.Boolean(), nullable=True),
    sa.Column("stage", sa.String(length=20), nullable=True),
    sa.Column("address", sa.String(length=64), nullable=True),
    sa.Column("browser", sa.String(length=200), nullable=True),
)


def _user_id(table: str) -> tuple[sa.Column[int], sa.ForeignKeyConstraint]:
    name = op.f(f"fk_{table}_user_id")
    return (
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["user_id"], ["users.id"], name=name, ondelete="CASCADE"),
    )


def upgrade() -> None:
    with op.batch_alter_table("users", schema=None) as batch_op:
        batch_op.add_column(sa.Column("disabled_at", MOMENT, nullable=True))
    _fold_emails()
    # Its rows lasted a quarter of an hour; guesses take its place.
    op.drop_table("refused_attempts")
    _sessions()
    op.create_table(
        "known_browsers",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        *_user_id("known_browsers"),
        sa.Column("seen_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("token_hash", "user_id", name=op.f("pk_known_browsers")),
    )
    for column in ("seen_at", "user_id"):
        op.create_index(op.f(f"ix_known_browsers_{column}"), "known_browsers", [column])
    op.create_table(
        "guesses",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("target", sa.String(length=64), nullable=False),
        sa.Column("source", sa.String(length=64), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_guesses")),
    )
    for column in ("at", "source", "target"):
        op.create_index(op.f(f"ix_guesses_{column}"), "guesses", [column])
    op.create_table(
        "second_factors",
        *_user_id("second_factors"),
        sa.Column("secret", sa.JSON(), nullable=False),
        sa.Column("confirmed_at", MOMENT, nullable=True),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("user_id", name=op.f("pk_second_factors")),
    )
    op.create_table(
        "recovery_codes",
        sa.Column("code_hash", sa.String(length=64), nullable=False),
        *_user_id("recovery_codes"),
        sa.PrimaryKeyConstraint("code_hash", name=op.f("pk_recovery_codes")),
    )
    op.create_index(op.f("ix_recovery_codes_user_id"), "recovery_codes", ["user_id"])


def _fold_emails() -> None:
    """Addresses as they are looked up now; two that would become one stay as they are."""
    connection = op.get_bind()
    rows = connection.execute(sa.select(USERS.c.id, USERS.c.email)).all()
    taken = {row.email for row in rows}
    for row in rows:
        folded = unicodedata.normalize("NFKC", row.email).casefold()
        folded = unicodedata.normalize("NFKC", folded).strip()
        if folded not in taken:
            taken.add(folded)
            connection.execute(USERS.update().where(USERS.c.id == row.id).values(email=folded))


def _sessions() -> None:
    """Who is signed in stays so until the time that was set."""
    with op.batch_alter_table("browser_sessions", schema=None) as batch_op:
        for column in ADDED:
            batch_op.add_column(column)
    now = datetime.now(UTC)
    op.get_bind().execute(
        SESSIONS.update().values(
            idle_until=SESSIONS.c.expires_at,
            begun_at=now,
            seen_at=now,
            lasting=False,
            stage="without code",
            address="",
            browser="",
        )
    )
    with op.batch_alter_table("browser_sessions", schema=None) as batch_op:
        for column in ADDED:
            batch_op.alter_column(column.name, existing_type=column.type, nullable=False)
        batch_op.create_index(op.f("ix_browser_sessions_idle_until"), ["idle_until"])
