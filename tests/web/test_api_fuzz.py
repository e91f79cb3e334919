"""A few made-up requests to every address as every kind of person: no mistake of ours.

For minutes, and on a whole course: ``python -m tests.load.api_fuzz``.
"""

from functools import partial
from random import Random

from server.marking.verdict import Status
from server.store.authored import begin
from server.store.courses import SectionRole
from server.store.database import Database
from server.store.people import Role, User
from tests.factories import EXERCISES, NOON, make_assignment, make_marked, make_section, make_user
from tests.load.api_fuzz import Fuzzer, People, serving


def people_at_work(database: Database) -> People:
    """One of each kind, with something to be found at every kind of address."""
    with database.write() as session:
        student, grader = make_user(session), make_user(session)
        instructor = make_user(session, Role.INSTRUCTOR)
        others = [make_user(session, role) for role in (Role.DEPARTMENT, Role.ADMINISTRATOR)]
        section = make_section(
            session,
            (student, SectionRole.STUDENT),
            (make_user(session), SectionRole.STUDENT),
            (grader, SectionRole.GRADER),
            (instructor, SectionRole.INSTRUCTOR),
        )
        assignment = make_assignment(session, section, exercise="wash-sump")
        make_marked(session, assignment, student, R1=Status.MET)
        text = (EXERCISES / "wash-sump" / "exercise.yaml").read_text()
        begin(session, instructor.id, "wash-sump-anew", "Anew", text, {}, NOON)
    everybody = (student, grader, instructor, *others)
    return {"nobody": lambda: None, **{user.name: partial(_the_same, user) for user in everybody}}


def _the_same(user: User) -> User:
    return user


def test_no_made_up_request_meets_a_mistake(database: Database) -> None:
    people = people_at_work(database)
    random = Random(8131)
    with serving(database, EXERCISES) as app:
        fuzzer = Fuzzer(app, people, seed=131)
        for someone in people.values():
            operations = fuzzer.operations(someone())
            # Half of them for each person; the other half for others.
            for operation in random.sample(operations, len(operations) // 2):
                fuzzer.try_out(operation, someone(), 1, rightly=random.random() < 0.7)
    assert fuzzer.found.mistakes == {}
    # It got beyond the door.
    assert fuzzer.found.statuses[200] > 10
    assert fuzzer.found.statuses[303] > 10
