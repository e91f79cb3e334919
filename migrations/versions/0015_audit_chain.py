"""The log in a chain, for events of every kind

Revision ID: 0015
Revises: 0011
"""

from uuid import uuid4

import sqlalchemy as sa
from alembic import op

# The form of a line's hash is stored by it: it is the same for ever.
from server.store.audit_chain import START, Entry, hash_line, seal_detail
from server.store.database import UtcDateTime

revision = "0015"
down_revision = "0011"


def upgrade() -> None:
    connection = op.get_bind()
    with op.batch_alter_table("users", schema=None) as batch_op:
        batch_op.add_column(sa.Column("log_id", sa.String(length=32), nullable=True))
    ids = connection.scalars(sa.text("SELECT id FROM users")).all()
    log_ids: dict[int | None, str] = {id: uuid4().hex for id in ids}
    if log_ids:
        connection.execute(
            sa.text("UPDATE users SET log_id = :log_id WHERE id = :id"),
            [{"id": id, "log_id": log_id} for id, log_id in log_ids.items()],
        )
    with op.batch_alter_table("users", schema=None) as batch_op:
        batch_op.alter_column("log_id", existing_type=sa.String(length=32), nullable=False)
        batch_op.create_unique_constraint(batch_op.f("uq_users_log_id"), ["log_id"])
    events = op.create_table(
        "audit_events",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.String(length=32), nullable=True),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.Column("section_id", sa.Integer(), nullable=True),
        sa.Column("assignment_id", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(length=40), nullable=False),
        sa.Column("detail", sa.String(length=200), nullable=False),
        sa.Column("salt", sa.String(length=32), nullable=True),
        sa.Column("seal", sa.String(length=64), nullable=False),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_audit_events")),
    )
    with op.batch_alter_table("audit_events", schema=None) as batch_op:
        for column in ("at", "actor", "person", "section_id"):
            batch_op.create_index(batch_op.f(f"ix_audit_events_{column}"), [column])
    tail = op.create_table(
        "audit_tail",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_tail")),
    )
    last, found = _chain_earlier_lines(connection, events, log_ids)
    if last:
        connection.execute(tail.insert(), [{"id": 1, "number": last, "hash": found}])
    op.drop_table("grade_events")


def _chain_earlier_lines(
    connection: sa.Connection, events: sa.Table, log_ids: dict[int | None, str]
) -> tuple[int, str]:
    """Take over the lines of the log of grades; return number and hash of the last one."""
    earlier = sa.table(
        "grade_events",
        sa.column("id"),
        sa.column("at", UtcDateTime()),
        *map(sa.column, ("actor_id", "student_id", "section_id", "assignment_id")),
        *map(sa.column, ("action", "detail")),
    )
    number, found = 0, START
    for line in connection.execute(sa.select(earlier).order_by(earlier.c.id)).all():
        entry = Entry(
            at=line.at,
            # Who is not there any more was erased: a word that leads nowhere says so.
            actor=log_ids.get(line.actor_id) or uuid4().hex,
            person=log_ids.get(line.student_id),
            section_id=line.section_id,
            assignment_id=line.assignment_id,
            action=line.action,
            detail=line.detail,
        )
        salt = uuid4().hex
        seal = seal_detail(salt, entry.detail)
        number += 1
        connection.execute(
            events.insert(),
            {
                "number": number,
                "at": entry.at.replace(tzinfo=None)
                if connection.dialect.name == "sqlite"
                else entry.at,
                "actor": entry.actor,
                "person": entry.person,
                "section_id": entry.section_id,
                "assignment_id": entry.assignment_id,
                "action": entry.action,
                "detail": entry.detail,
                "salt": salt,
                "seal": seal,
                "previous": found,
            },
        )
        found = hash_line(found, number, entry, seal)
    return number, found
