"""The report's figures for the demo against an independent calculation with numpy."""

from collections import defaultdict
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import Engine, event, text

from server.demo import course as demo
from server.marking.files.exercise_file import load_exercise
from server.paths import EXERCISES
from server.store import reports
from server.store.courses import Course, Section
from server.store.database import Database, UtcDateTime
from server.store.gradebook import section_book
from server.store.outcomes import Target
from server.store.report_work import work_of
from tests.factories import NOON

SLUGS = ("apple-wash-sump", "crate-infeed")
LOADED = [load_exercise(EXERCISES / slug) for slug in SLUGS]
OUTCOMES = {e.slug: {r.id: r.outcomes for r in e.requirements} for e in LOADED}

# From the verdicts themselves, without standings: the best attempt after 10 % a day late.
ROWS = """
SELECT e.section_id, a.exercise, s.user_id, s.id, s.attempt, s.submitted_at,
  v.score + coalesce(h.added, 0) AS score,
  a.due_at, x.due_at AS extended, coalesce(p.extra_days, 0) AS days
FROM submissions s JOIN verdicts v ON v.submission_id = s.id
JOIN assignments a ON a.id = s.assignment_id
JOIN enrolments e ON e.section_id = a.section_id AND e.user_id = s.user_id AND e.role = 'student'
  AND NOT e.incomplete
LEFT JOIN extensions x ON x.assignment_id = a.id AND x.user_id = s.user_id
LEFT JOIN accommodations p ON p.user_id = s.user_id AND a.due_at BETWEEN p.begins_at AND p.ends_at
LEFT JOIN (
  SELECT r.submission_id, sum(b.share * r.max_score - r.score) AS added FROM results_by_hand b
  JOIN requirement_results r ON r.submission_id = b.submission_id AND r.requirement = b.requirement
  GROUP BY r.submission_id
) h ON h.submission_id = s.id
LEFT JOIN excuses u ON u.assignment_id = a.id AND u.user_id = s.user_id
WHERE u.user_id IS NULL
ORDER BY s.id
"""

RESULTS = """
SELECT r.submission_id, r.requirement, r.max_score, coalesce(b.share * r.max_score, r.score) score,
  CASE WHEN b.share IS NULL THEN r.status WHEN b.share = 1 THEN 'met' ELSE 'not met' END AS status
FROM requirement_results r LEFT JOIN results_by_hand b
  ON b.submission_id = r.submission_id AND b.requirement = r.requirement
ORDER BY r.position
"""


@pytest.fixture
def loaded(database: Database) -> Database:
    with database.write() as session:
        demo.load_demo(session, LOADED, NOON)
    return database


def test_attainment_and_items_of_the_demo(loaded: Database) -> None:
    best: dict[tuple[int, str], tuple[float, int]] = {}
    results: dict[int, dict[str, tuple[str, float, float]]] = defaultdict(dict)
    with loaded.read() as session:
        moments = text(ROWS).columns(
            submitted_at=UtcDateTime, due_at=UtcDateTime, extended=UtcDateTime
        )
        for row in session.execute(moments):
            due_at = row.due_at + timedelta(days=row.days)
            due_at = max(due_at, row.extended or due_at)
            late = (row.submitted_at - due_at).total_seconds() / 86400
            worth = row.score * max(0.0, 1 - 0.1 * max(0, np.ceil(late)))
            place = (row.user_id, row.exercise)
            if place not in best or worth > best[place][0] + 1e-9:
                best[place] = (worth, row.id)
        for row in session.execute(text(RESULTS)):
            results[row.submission_id][row.requirement] = (row.status, row.score, row.max_score)
        course = session.query(Course).one()
        work = work_of(session, course.id)
    assert {(each.user_id, each.exercise): each.submission_id for each in work} == {
        place: submission for place, (_, submission) in best.items()
    }
    found = reports.attainment(work, OUTCOMES, {"seal-in": Target(0.9, 0.5)})
    for outcome, reached in found.items():
        sums: dict[int, np.ndarray] = defaultdict(lambda: np.zeros(2))
        for (user, exercise), (_, submission) in best.items():
            for name, (_, score, most) in results[submission].items():
                if outcome in OUTCOMES[exercise][name]:
                    sums[user] += (score, most)
        shares = np.array([got / most for got, most in sums.values()])
        level = 0.9 if outcome == "seal-in" else 0.7
        assert (reached.students, reached.reached) == (len(shares), (shares > level - 1e-9).sum())
    for report in reports.exercise_reports(work):
        names = [item.requirement for item in report.items]
        matrix = np.array(
            [
                [results[submission][name][0] == "met" for name in names]
                for (_, exercise), (_, submission) in best.items()
                if exercise == report.exercise
            ],
            dtype=float,
        )
        p, total = matrix.mean(axis=0), matrix.sum(axis=1)
        k = len(names)
        assert [item.difficulty for item in report.items] == pytest.approx(list(p))
        kr20 = k / (k - 1) * (1 - (p * (1 - p)).sum() / total.var())
        enough = report.students >= 30
        assert report.reliability == (pytest.approx(kr20) if enough else None)
        for n, item in enumerate(report.items):
            if item.corrected is not None:
                r = np.corrcoef(matrix[:, n], total - matrix[:, n])[0, 1]
                assert item.corrected == pytest.approx(r)


def test_the_number_of_queries_does_not_grow_with_the_work(loaded: Database) -> None:
    counts = []
    statements: list[str] = []

    def note(_c: object, _cur: object, statement: str, *_: object) -> None:
        statements.append(statement.split(maxsplit=1)[0])

    event.listen(Engine, "before_cursor_execute", note)
    try:
        for number in (1, 2):
            with loaded.read() as session:
                section = session.get_one(Section, number)
                statements.clear()
                section_book(session, section, NOON)
                counts.append(statements.count("SELECT"))
                statements.clear()
                work_of(session, section.course_id)
                counts.append(statements.count("SELECT"))
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    # Days that are added to a date are days of the college's time zone, which is asked for.
    assert counts == [7, 1, 6, 1]
