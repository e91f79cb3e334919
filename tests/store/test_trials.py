"""Recorded trial runs of several people, stored at once."""

from server.store.courses import SectionRole
from server.store.database import Database
from server.store.trials import LATEST, find_trial, save_latest, save_trial
from tests.factories import NOON, make_assignment, make_section, make_user


def test_the_latest_runs_take_the_place_of_those_before(database: Database) -> None:
    with database.write() as session:
        ada, ben = make_user(session), make_user(session)
        section = make_section(session, (ada, SectionRole.STUDENT), (ben, SectionRole.STUDENT))
        one, two = (make_assignment(session, section) for _ in range(2))
        save_trial(session, one.id, ada.id, "tried", {"of": "ada"}, scans=5, now=NOON)
        save_trial(session, two.id, ada.id, LATEST, {"of": "ada"}, scans=6, now=NOON)
    with database.write() as session:
        runs = {(one.id, ada.id): ({"n": 1}, 11), (one.id, ben.id): ({"n": 2}, 12)}
        save_latest(session, runs, NOON)
    with database.write() as session:
        save_latest(session, {(one.id, ben.id): ({"n": 3}, 13)}, NOON)

    def stored(assignment_id: int, user_id: int, name: str = LATEST) -> tuple[object, int]:
        with database.read() as session:
            found = find_trial(session, assignment_id, user_id, name)
            assert found is not None
            return found.run, found.scans

    assert stored(one.id, ada.id) == ({"n": 1}, 11)
    assert stored(one.id, ben.id) == ({"n": 3}, 13)
    assert stored(one.id, ada.id, "tried") == ({"of": "ada"}, 5)
    assert stored(two.id, ada.id) == ({"of": "ada"}, 6)
