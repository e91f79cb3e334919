"""Which attempt counts once lateness, more time, partners and other policies enter."""

from dataclasses import replace
from datetime import timedelta

from server.marking.verdict import SharedCause, Status
from server.marking.verdict_form import to_json
from server.store import assignment_policy, submissions
from server.store.allowances import allowance_of
from server.store.assignment_policy import Policy
from server.store.attempts import Submission
from server.store.corrections import remove_override, set_points
from server.store.courses import Counting, Feedback, SectionRole
from server.store.database import Database
from server.store.gradebook import section_book, standings_of
from server.store.submissions import Refusal
from tests.factories import (
    NOON,
    make_assignment,
    make_marked,
    make_section,
    make_submission,
    make_user,
    make_verdict,
)

MET, NOT_MET = Status.MET, Status.NOT_MET
DAY = timedelta(days=1)
DUE = NOON + 7 * DAY
POLICY = Policy(
    opens_at=NOON - DAY,
    due_at=DUE,
    closes_at=None,
    attempts=None,
    counting=Counting.BEST,
    feedback=Feedback.CHART,
    feedback_from_attempt=1,
    feedback_after_due=False,
    weight=1,
    late_per_day=0.25,
    in_pairs=False,
)


def test_a_late_better_attempt_counts_only_if_it_is_still_better(database: Database) -> None:
    with database.write() as session:
        student, teacher = make_user(session), make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, due_at=DUE, late_per_day=0.25)
        make_marked(session, assignment, student, 1, R1=MET, R2=MET, R3=NOT_MET)
        late = DUE + 1.5 * DAY
        make_marked(session, assignment, student, 2, late, R1=MET, R2=MET, R3=MET)

        def counts() -> tuple[int | None, float | None, int]:
            found = standings_of(session, student.id, [assignment.id])[assignment.id]
            return found.attempt, found.points, found.days_late

        assert counts() == (1, 2.0, 0)
        assignment_policy.give_time(
            session, assignment, student.id, DUE + DAY, "ill", by_id=teacher.id, now=NOON
        )
        assert counts() == (2, 2.25, 1)
        policy = replace(POLICY, late_per_day=0)
        assignment_policy.change_policy(session, assignment, policy, by_id=teacher.id, now=NOON)
        assert counts() == (2, 3.0, 1)
        set_points(session, assignment, student.id, 1.5, "shown", by_id=teacher.id, now=NOON)
        assert counts() == (2, 1.5, 1)
        remove_override(session, assignment, student.id, by_id=teacher.id, now=NOON)
        assert counts() == (2, 3.0, 1)


def test_a_cause_counts_once_if_the_policy_says_so(database: Database) -> None:
    with database.write() as session:
        student, teacher = make_user(session), make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        assignment = make_assignment(session, section, due_at=DUE)
        verdict = replace(
            make_verdict(R1=NOT_MET, R2=NOT_MET, R3=MET),
            causes=(SharedCause(("R1", "R2"), "rung 1"),),
        )
        submission = make_submission(session, assignment, student, 1, submitted_at=NOON)
        assert submissions.store_verdict(session, submission.id, verdict, to_json(verdict), NOON)

        def points() -> float | None:
            return standings_of(session, student.id, [assignment.id])[assignment.id].points

        assert points() == 1.0
        policy = replace(POLICY, cause_once=True)
        assignment_policy.change_policy(session, assignment, policy, by_id=teacher.id, now=NOON)
        assert points() == 2.0


def test_partners_share_attempts_and_standing(database: Database) -> None:
    with database.write() as session:
        one, two, third = (make_user(session) for _ in range(3))
        section = make_section(
            session, *((each, SectionRole.STUDENT) for each in (one, two, third))
        )
        assignment = make_assignment(session, section, in_pairs=True, attempts=2)
        assignment_policy.pair_up(session, assignment, one.id, two.id, by_id=one.id, now=NOON)
        make_marked(session, assignment, one, 1, R1=MET)
        make_marked(session, assignment, two, 1, R1=NOT_MET)
        for user in (one, two):
            found = standings_of(session, user.id, [assignment.id])[assignment.id]
            assert (found.attempts, found.points) == (2, 1.0)
        taken = submissions.submit(session, assignment, one.id, {"version": 1}, NOON)
        assert taken is Refusal.NO_ATTEMPT_LEFT
        # Whoever gets another partner leaves the one they had.
        assignment_policy.pair_up(session, assignment, two.id, third.id, by_id=two.id, now=NOON)
        found = standings_of(session, one.id, [assignment.id])[assignment.id]
        assert found.attempts == 1
        found = standings_of(session, third.id, [assignment.id])[assignment.id]
        assert (found.attempts, found.points) == (1, 0.0)


def test_more_time_keeps_the_exercise_open_for_one(database: Database) -> None:
    with database.write() as session:
        one, two = make_user(session), make_user(session)
        section = make_section(session, *((each, SectionRole.STUDENT) for each in (one, two)))
        assignment = make_assignment(session, section, due_at=DUE, closes_at=DUE)
        assignment_policy.give_time(
            session, assignment, one.id, DUE + 2 * DAY, "ill", by_id=two.id, now=NOON
        )
        later = DUE + DAY
        taken = submissions.submit(session, assignment, one.id, {"version": 1}, later)
        assert isinstance(taken, Submission)
        assert taken.submitted_at < allowance_of(session, assignment, one.id).due_at
        refused = submissions.submit(session, assignment, two.id, {"version": 1}, later)
        assert refused is Refusal.CLOSED
        after = submissions.submit(session, assignment, one.id, {"version": 2}, DUE + 2 * DAY)
        assert after is Refusal.CLOSED


def test_the_share_so_far_is_weighted_and_counts_what_is_missing(database: Database) -> None:
    with database.write() as session:
        student = make_user(session)
        section = make_section(session, (student, SectionRole.STUDENT))
        done = make_assignment(session, section, weight=3)
        make_assignment(session, section, weight=1)
        make_marked(session, done, student, R1=MET, R2=NOT_MET)
        (row,) = section_book(session, section, NOON).rows
        assert row.share == 0.5
        (row,) = section_book(session, section, DUE + 2 * DAY).rows
        assert row.share == 0.375
