"""When a sitting begins and ends, by hand-computed times, and what is stored at its end."""

from dataclasses import replace
from datetime import datetime, timedelta
from threading import Thread
from typing import Any

import pytest

from server.store.allowances import allowance_of
from server.store.assignment_policy import (
    Policy,
    PolicyRefusal,
    change_policy,
    give_time,
    set_exercise,
)
from server.store.courses import Assignment, Enrolment, SectionRole
from server.store.database import Database, Document
from server.store.people import Role, User
from server.store.programs import WorkingCopy, save_program, undo
from server.store.roll_over import policy_of
from server.store.sittings import Sitting, SittingOver, new_pass_code, sitting_of
from server.store.standings import CountingAttempt
from server.store.student_changes import Profile, add_accommodation
from server.store.submissions import attempts_of, submit
from server.store.supervised_labs import (
    NoSitting,
    Wait,
    begin_sitting,
    close_sitting,
    end_sitting,
    give_minutes,
    sittings_to_close,
)
from tests.factories import NOON, make_section, make_user

MINUTE = timedelta(minutes=1)
WINDOW = 60 * MINUTE
LAB = Policy(
    opens_at=NOON,
    due_at=NOON + WINDOW,
    closes_at=NOON + WINDOW,
    late_per_day=0.1,
    sitting_minutes=40,
)
PROGRAM = {"version": 1, "name": "p"}
START = {"version": 1, "name": "start"}


def open_lab(database: Database) -> tuple[Assignment, User, User]:
    """A supervised lab of an hour, its student and its instructor."""
    with database.write() as session:
        student, teacher = make_user(session), make_user(session, Role.INSTRUCTOR)
        section = make_section(
            session, (student, SectionRole.STUDENT), (teacher, SectionRole.INSTRUCTOR)
        )
        lab = set_exercise(session, section.id, "sump", "Sump", LAB, by_id=teacher.id, now=NOON)
        assert lab is not None
        session.refresh(lab)
    return lab, student, teacher


def sit(
    database: Database,
    lab: Assignment,
    student: User,
    at: datetime,
    code: str | None = None,
    seat: str = "7",
) -> Sitting | NoSitting | Wait:
    with database.write() as session:
        code = session.get_one(Assignment, lab.id).pass_code if code is None else code
        return begin_sitting(session, lab.id, student.id, "browser", code or "", seat, at)


def save(database: Database, lab: Assignment, student: User, at: datetime) -> WorkingCopy:
    with database.write() as session:
        saved = save_program(session, lab, student.id, PROGRAM, revision=0, start=START, now=at)
    assert isinstance(saved, WorkingCopy)
    return saved


def close(
    database: Database,
    lab: Assignment,
    student: User,
    at: datetime,
    program: Document = PROGRAM,
    revision: int = 1,
) -> int | None:
    """Close a sitting as the job does that has read ``program`` at ``revision``."""
    with database.write() as session:
        return close_sitting(session, lab.id, student.id, program, at, revision=revision)


def end(database: Database, lab: Assignment, student: User) -> datetime:
    with database.read() as session:
        sitting = sitting_of(session, lab.id, student.id)
    assert sitting is not None
    return sitting.ends_at


@pytest.mark.parametrize(
    ("begun", "ends"),
    [(0, 40), (10, 50), (30, 60), (59, 60)],
)
def test_a_sitting_ends_after_its_minutes_or_with_the_window(
    database: Database, begun: int, ends: int
) -> None:
    lab, student, _ = open_lab(database)
    assert isinstance(sit(database, lab, student, NOON + begun * MINUTE), Sitting)
    assert end(database, lab, student) == NOON + ends * MINUTE


@pytest.mark.parametrize(
    ("at", "code", "seat", "why"),
    [
        (-1, None, "7", NoSitting.NOT_OPEN),
        (60, None, "7", NoSitting.WINDOW_OVER),
        (5, "WRONG2", "7", NoSitting.WRONG_CODE),
        (5, "", "7", NoSitting.WRONG_CODE),
        (5, None, "  ", NoSitting.NO_SEAT),
    ],
)
def test_no_sitting_begins(
    database: Database, at: int, code: str | None, seat: str, why: NoSitting
) -> None:
    lab, student, _ = open_lab(database)
    assert sit(database, lab, student, NOON + at * MINUTE, code, seat) is why
    with pytest.raises(SittingOver):
        save(database, lab, student, NOON + at * MINUTE)


def test_an_accommodation_stretches_window_and_minutes(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    profile = Profile(1.5, 0, 0, NOON - WINDOW, NOON + 2 * WINDOW, "")
    of_teacher: dict[str, Any] = {"by_id": teacher.id, "now": NOON}
    with database.write() as session:
        add_accommodation(session, lab.section_id, student.id, profile, **of_teacher)
    # 40 × 1.5 = 60 minutes; the window is 90 minutes long.
    assert isinstance(sit(database, lab, student, NOON + 20 * MINUTE), Sitting)
    assert end(database, lab, student) == NOON + 80 * MINUTE


def test_an_accommodation_that_comes_during_the_sitting_holds_at_once(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    sit(database, lab, student, NOON)
    profile = Profile(2, 0, 0, NOON - WINDOW, NOON + 2 * WINDOW, "")
    with database.write() as session:
        add_accommodation(session, lab.section_id, student.id, profile, by_id=teacher.id, now=NOON)
    assert end(database, lab, student) == NOON + 80 * MINUTE


def test_more_minutes_reach_beyond_the_window_and_nothing_is_late(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    sit(database, lab, student, NOON + 25 * MINUTE)
    save(database, lab, student, NOON + 30 * MINUTE)
    over = NOON + 62 * MINUTE
    with pytest.raises(SittingOver), database.write() as session:
        submit(session, lab, student.id, PROGRAM, over)
    with database.write() as session:
        sitting = sitting_of(session, lab.id, student.id)
        assert sitting is not None
        give_minutes(session, lab, sitting, 5, by_id=teacher.id, now=over)
        assert sitting.ends_at == NOON + 67 * MINUTE
        assert allowance_of(session, lab, student.id).due_at == NOON + 67 * MINUTE
    with database.write() as session:
        submit(session, lab, student.id, PROGRAM, NOON + 66 * MINUTE)
    # The policy is saved again as it is: what was given stays.
    with database.write() as session:
        stored = session.get_one(Assignment, lab.id)
        change_policy(session, stored, policy_of(stored), by_id=teacher.id, now=over)
    assert end(database, lab, student) == NOON + 67 * MINUTE


def test_more_minutes_for_the_class_hold_for_who_sits(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    sit(database, lab, student, NOON)
    with database.write() as session:
        stored = session.get_one(Assignment, lab.id)
        longer = replace(policy_of(stored), sitting_minutes=50)
        change_policy(session, stored, longer, by_id=teacher.id, now=NOON + MINUTE)
    assert end(database, lab, student) == NOON + 50 * MINUTE


def test_an_extension_lets_an_absent_student_sit_another_day(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    day = timedelta(days=1)
    assert sit(database, lab, student, NOON + day) is NoSitting.WINDOW_OVER
    with database.write() as session:
        stored = session.get_one(Assignment, lab.id)
        give_time(
            *(session, stored, student.id, NOON + day + WINDOW, "was ill"),
            by_id=teacher.id,
            now=NOON,
        )
    assert isinstance(sit(database, lab, student, NOON + day), Sitting)
    assert end(database, lab, student) == NOON + day + 40 * MINUTE


def test_what_is_stored_at_the_end_is_submitted_once(database: Database) -> None:
    lab, student, _ = open_lab(database)
    sit(database, lab, student, NOON)
    save(database, lab, student, NOON + 39 * MINUTE)
    later = NOON + 55 * MINUTE
    with database.read() as session:
        assert sittings_to_close(session, NOON + 39 * MINUTE) == []
    for _ in range(2):
        close(database, lab, student, later)
    with database.read() as session:
        (attempt,) = attempts_of(session, lab, student.id)
        assert attempt.submitted_at == NOON + 40 * MINUTE
        standing = session.get_one(CountingAttempt, (lab.id, student.id))
        assert (standing.attempts, standing.queued) == (1, 1)
        assert sittings_to_close(session, later) == []


@pytest.mark.parametrize("last", ["step", "attempt"])
def test_what_is_on_its_way_at_the_end_is_in_the_one_submission(
    database: Database, last: str
) -> None:
    lab, student, _ = open_lab(database)
    sit(database, lab, student, NOON)
    save(database, lab, student, NOON + MINUTE)
    newest = PROGRAM | {"name": "newest"}
    end = NOON + 40 * MINUTE
    # It has read the program before the last step is stored, and finds the step when it closes.
    closer = Thread(target=close, args=(database, lab, student, end))
    with database.write() as session:
        before = end - timedelta(milliseconds=1)
        if last == "step":
            save_program(*(session, lab, student.id, newest), revision=1, start=START, now=before)
        else:
            submit(session, lab, student.id, newest, before)
        closer.start()
        # It waits for this unit of work; one that did not would be through by now.
        closer.join(0.2)
    closer.join()
    # The next round of the job.
    close(database, lab, student, end, newest, revision=2 if last == "step" else 1)
    with database.read() as session:
        (attempt,) = attempts_of(session, lab, student.id)
        assert attempt.program == newest
        assert sittings_to_close(session, end) == []


def test_what_arrives_after_the_sitting_is_closed_is_not_stored(database: Database) -> None:
    lab, student, _ = open_lab(database)
    sit(database, lab, student, NOON)
    saved = save(database, lab, student, NOON + MINUTE)
    close(database, lab, student, NOON + 40 * MINUTE)
    # Sent in time, and held up on the way.
    sent, newest = NOON + 39 * MINUTE, PROGRAM | {"name": "newest"}
    with pytest.raises(SittingOver), database.write() as session:
        save_program(
            *(session, lab, student.id, newest), revision=saved.revision, start=START, now=sent
        )
    with pytest.raises(SittingOver), database.write() as session:
        submit(session, lab, student.id, newest, sent)
    with database.read() as session:
        assert len(attempts_of(session, lab, student.id)) == 1


def test_a_lab_stays_supervised_while_somebody_sits(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    sit(database, lab, student, NOON)
    homework = replace(LAB, sitting_minutes=None)
    of_teacher: dict[str, Any] = {"by_id": teacher.id, "now": NOON + MINUTE}
    with database.write() as session:
        stored = session.get_one(Assignment, lab.id)
        assert change_policy(session, stored, homework, **of_teacher) is PolicyRefusal.SITTING
        assert stored.sitting_minutes == 40
    close(database, lab, student, NOON + 40 * MINUTE, revision=0)
    with database.write() as session:
        stored = session.get_one(Assignment, lab.id)
        assert change_policy(session, stored, homework, **of_teacher) is None


def test_who_has_submitted_gets_no_further_attempt_at_the_end(database: Database) -> None:
    lab, student, _ = open_lab(database)
    sit(database, lab, student, NOON)
    with database.write() as session:
        submit(session, lab, student.id, PROGRAM, NOON + MINUTE)
    other = PROGRAM | {"name": "later"}
    assert close(database, lab, student, NOON + WINDOW, other, revision=0) is None
    with database.read() as session:
        assert len(attempts_of(session, lab, student.id)) == 1


def test_an_end_that_was_asked_for_is_final(database: Database) -> None:
    lab, student, _ = open_lab(database)
    sit(database, lab, student, NOON)
    save(database, lab, student, NOON + MINUTE)
    with database.write() as session:
        end_sitting(session, lab, student.id, NOON + 10 * MINUTE)
    for step in (save, undo):
        with pytest.raises(SittingOver), database.write() as session:
            if step is undo:
                undo(session, lab, student.id, revision=1, now=NOON + 11 * MINUTE)
            else:
                save(database, lab, student, NOON + 11 * MINUTE)
    assert sit(database, lab, student, NOON + 11 * MINUTE) is NoSitting.OVER


def test_wrong_codes_make_one_student_wait_and_nobody_else(database: Database) -> None:
    lab, student, _ = open_lab(database)
    answers = [sit(database, lab, student, NOON, "AAAAAA") for _ in range(7)]
    assert answers[:5] == [NoSitting.WRONG_CODE] * 5
    assert isinstance(answers[-1], Wait)
    # Not even the right one is looked at meanwhile.
    assert isinstance(sit(database, lab, student, NOON), Wait)
    with database.write() as session:
        other = make_user(session)
        session.add(
            Enrolment(section_id=lab.section_id, user_id=other.id, role=SectionRole.STUDENT)
        )
    assert isinstance(sit(database, lab, other, NOON), Sitting)


def test_a_new_code_ends_no_sitting_and_the_old_one_begins_none(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    old = lab.pass_code
    sit(database, lab, student, NOON)
    with database.write() as session:
        new_pass_code(session, session.get_one(Assignment, lab.id), by_id=teacher.id, now=NOON)
    save(database, lab, student, NOON + MINUTE)
    assert sit(database, lab, student, NOON + MINUTE, old) is NoSitting.WRONG_CODE


def test_what_students_have_begun_does_not_become_supervised(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    of_teacher: dict[str, Any] = {"by_id": teacher.id, "now": NOON}
    homework = replace(LAB, sitting_minutes=None)
    with database.write() as session:
        stored = session.get_one(Assignment, lab.id)
        assert change_policy(session, stored, homework, **of_teacher) is None
        session.refresh(stored)
        save_program(session, stored, student.id, PROGRAM, revision=0, start=START, now=NOON)
        assert change_policy(session, stored, LAB, **of_teacher) is PolicyRefusal.BEGUN
        assert stored.sitting_minutes is None


def test_nobody_sits_at_two_labs(database: Database) -> None:
    lab, student, teacher = open_lab(database)
    with database.write() as session:
        other = set_exercise(
            session, lab.section_id, "tank", "Tank", LAB, by_id=teacher.id, now=NOON
        )
        assert other is not None
    sit(database, lab, student, NOON)
    assert sit(database, other, student, NOON) is NoSitting.ELSEWHERE
    with database.write() as session:
        end_sitting(session, lab, student.id, NOON + MINUTE)
    assert isinstance(sit(database, other, student, NOON + MINUTE), Sitting)
    # The first one does not open again beside the second.
    with database.write() as session:
        sitting = sitting_of(session, lab.id, student.id)
        assert sitting is not None
        assert not give_minutes(session, lab, sitting, 5, by_id=teacher.id, now=NOON + 2 * MINUTE)
    # The code of one lab opens no other.
    with database.write() as session:
        one_more = make_user(session)
        session.add(
            Enrolment(section_id=lab.section_id, user_id=one_more.id, role=SectionRole.STUDENT)
        )
    assert sit(database, other, one_more, NOON, lab.pass_code) is NoSitting.WRONG_CODE
