"""After how many attempts a student had passed

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"

# Their own attempts and their partner's, in order of time.
PLACES = """
WITH tried AS (
  SELECT s.assignment_id, s.user_id AS student_id, s.id, s.submitted_at FROM submissions s
  UNION ALL
  SELECT s.assignment_id, p.partner_id, s.id, s.submitted_at FROM submissions s
  JOIN assignments a ON a.id = s.assignment_id AND a.in_pairs
  JOIN partners p ON p.assignment_id = s.assignment_id AND p.user_id = s.user_id
), placed AS (
  SELECT assignment_id, student_id, id, row_number() OVER (
    PARTITION BY assignment_id, student_id ORDER BY submitted_at, id
  ) AS place FROM tried
)
SELECT assignment_id, student_id, min(place) AS place FROM placed
JOIN verdicts v ON v.submission_id = placed.id AND v.score = v.max_score
GROUP BY assignment_id, student_id
"""


def upgrade() -> None:
    with op.batch_alter_table("standings", schema=None) as batch_op:
        batch_op.add_column(sa.Column("passed_after", sa.Integer(), nullable=True))
    connection = op.get_bind()
    rows = [dict(row._mapping) for row in connection.execute(sa.text(PLACES))]
    if rows:
        connection.execute(
            sa.text(
                "UPDATE standings SET passed_after = :place"
                " WHERE assignment_id = :assignment_id AND user_id = :student_id"
            ),
            rows,
        )
