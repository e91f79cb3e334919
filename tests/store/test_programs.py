"""The working program: saved states, undo and redo, and nobody's change lost."""

from threading import Barrier, Thread

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.store import programs
from server.store.courses import Assignment, SectionRole
from server.store.database import Database, Document
from server.store.people import User
from server.store.programs import ProgramStep, Stale, WorkingCopy
from tests.factories import NOON, make_assignment, make_section, make_user

START: Document = {"rungs": []}


def begin(session: Session) -> tuple[Assignment, User]:
    student = make_user(session)
    section = make_section(session, (student, SectionRole.STUDENT))
    return make_assignment(session, section), student


def save(
    session: Session, work: tuple[Assignment, User], program: Document, revision: int
) -> WorkingCopy | Stale:
    assignment, user = work
    return programs.save_program(
        session, assignment, user.id, program, revision=revision, start=START, now=NOON
    )


def test_before_the_first_change_there_is_what_the_exercise_gives(database: Database) -> None:
    with database.write() as session:
        assignment, user = begin(session)
        copy = programs.working_copy(session, assignment, user.id, START)
        assert copy == WorkingCopy(START, 0, can_undo=False, can_redo=False, saved_at=None)
        assert programs.undo(session, assignment, user.id, revision=0, now=NOON) is None


def test_a_saved_program_is_there_in_the_next_unit_of_work(database: Database) -> None:
    with database.write() as session:
        work = begin(session)
        save(session, work, {"rungs": [1]}, 0)
    with database.read() as session:
        copy = programs.working_copy(session, work[0], work[1].id, START)
    assert copy == WorkingCopy({"rungs": [1]}, 1, can_undo=True, can_redo=False, saved_at=NOON)


def test_a_change_made_on_an_older_state_is_refused(database: Database) -> None:
    with database.write() as session:
        work = begin(session)
        newest = save(session, work, {"rungs": [1]}, 0)
        assert isinstance(newest, WorkingCopy)
        assert save(session, work, {"rungs": [2]}, 0) == Stale(newest)
        assignment, user = work
        assert programs.undo(session, assignment, user.id, revision=0, now=NOON) == Stale(newest)
        assert programs.working_copy(session, assignment, user.id, START) == newest


def test_of_two_windows_that_save_at_once_one_is_told(database: Database) -> None:
    with database.write() as session:
        work = begin(session)
    together = Barrier(2)
    outcomes = []

    def save_in_a_window(number: int) -> None:
        together.wait()
        with database.write() as session:
            outcomes.append(save(session, work, {"window": number}, 0))

    threads = [Thread(target=save_in_a_window, args=(number,)) for number in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    first, second = outcomes
    assert isinstance(first, WorkingCopy)
    assert second == Stale(first)


def test_programs_of_two_students_are_apart(database: Database) -> None:
    with database.write() as session:
        assignment, one = begin(session)
        other = make_user(session)
        save(session, (assignment, one), {"rungs": [1]}, 0)
        assert programs.working_copy(session, assignment, other.id, START).program == START


def test_only_the_newest_steps_are_kept(database: Database) -> None:
    with database.write() as session:
        assignment, user = work = begin(session)
        for revision in range(programs.STEPS_KEPT + 20):
            save(session, work, {"rungs": [revision]}, revision)
        kept = session.scalar(select(func.count()).select_from(ProgramStep))
        assert kept == programs.STEPS_KEPT + 1
        revision = programs.STEPS_KEPT + 20
        back = 0
        while isinstance(
            programs.undo(session, assignment, user.id, revision=revision, now=NOON), WorkingCopy
        ):
            revision, back = revision + 1, back + 1
        assert back == programs.STEPS_KEPT


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from(["change", "undo", "redo"]), max_size=25))
def test_undo_and_redo_walk_a_plain_list(database: Database, moves: list[str]) -> None:
    """The store against a list with a finger on it; each move in a unit of work of its own."""
    states: list[Document] = [START]
    finger = revision = 0
    with database.write() as session:
        work = begin(session)
    assignment, user = work
    for number, move in enumerate(moves):
        with database.write() as session:
            if move == "change":
                outcome: object = save(session, work, {"rungs": [number]}, revision)
                states[finger + 1 :] = [{"rungs": [number]}]
                finger += 1
                possible = True
            else:
                step, by = (programs.undo, -1) if move == "undo" else (programs.redo, 1)
                outcome = step(session, assignment, user.id, revision=revision, now=NOON)
                possible = 0 <= finger + by < len(states)
                finger += by if possible else 0
            revision += possible
            assert (outcome is not None) == possible
            copy = programs.working_copy(session, assignment, user.id, START)
        assert copy.program == states[finger]
        assert copy.revision == revision
        assert (copy.can_undo, copy.can_redo) == (finger > 0, finger + 1 < len(states))
