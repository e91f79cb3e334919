"""Versions under names: whose they are, how many, and what becomes of them with their person."""

import pytest

from server.store import person_export, privacy
from server.store.courses import Assignment, SectionRole
from server.store.database import Database
from server.store.people import User
from server.store.versions import (
    MAX_VERSIONS,
    NamedVersion,
    NotNamed,
    find_version,
    name_version,
    remove_version,
    versions_of,
)
from tests.factories import NOON, make_assignment, make_section, make_user

PROGRAM = {"version": 1, "name": "p"}


@pytest.fixture
def work(database: Database) -> tuple[User, User, Assignment]:
    with database.write() as session:
        one, other = make_user(session), make_user(session)
        section = make_section(session, (one, SectionRole.STUDENT), (other, SectionRole.STUDENT))
        return one, other, make_assignment(session, section)


def kept(database: Database, assignment: Assignment, user: User) -> list[str]:
    with database.read() as session:
        return [version.name for version in versions_of(session, assignment, user.id)]


def test_the_newest_comes_first_and_names_are_trimmed(
    database: Database, work: tuple[User, User, Assignment]
) -> None:
    one, other, assignment = work
    with database.write() as session:
        for name in ("First", "  Second \n one "):
            version = name_version(session, assignment, one.id, name, PROGRAM, NOON)
            assert isinstance(version, NamedVersion)
            assert version.program == PROGRAM
        name_version(session, assignment, other.id, "First", PROGRAM, NOON)
    assert kept(database, assignment, one) == ["Second one", "First"]
    assert kept(database, assignment, other) == ["First"]


def test_what_is_not_named(database: Database, work: tuple[User, User, Assignment]) -> None:
    one, _, assignment = work
    with database.write() as session:

        def name(words: str) -> NamedVersion | NotNamed:
            return name_version(session, assignment, one.id, words, PROGRAM, NOON)

        assert name(" \t") is NotNamed.NO_NAME
        for number in range(MAX_VERSIONS):
            assert isinstance(name(f"Version {number}"), NamedVersion)
        assert name("Version 0") is NotNamed.TAKEN
        assert name("One more") is NotNamed.TOO_MANY
    assert len(kept(database, assignment, one)) == MAX_VERSIONS


def test_only_their_person_finds_and_forgets_them(
    database: Database, work: tuple[User, User, Assignment]
) -> None:
    one, other, assignment = work
    with database.write() as session:
        version = name_version(session, assignment, one.id, "Mine", PROGRAM, NOON)
        assert isinstance(version, NamedVersion)
        assert find_version(session, assignment, one.id, version.id) is version
        assert find_version(session, assignment, other.id, version.id) is None
        remove_version(session, assignment, other.id, version.id)
        assert find_version(session, assignment, one.id, version.id) is version
        remove_version(session, assignment, one.id, version.id)
    assert kept(database, assignment, one) == []


def test_they_are_handed_out_and_erased_with_their_person(
    database: Database, work: tuple[User, User, Assignment]
) -> None:
    one, _, assignment = work
    with database.write() as session:
        name_version(session, assignment, one.id, "Mine", PROGRAM, NOON)
    with database.read() as session:
        (told,) = person_export.export_person(session, one.id)["versions with names"]
        assert (told["name"], told["program"]) == ("Mine", PROGRAM)
    with database.write() as session:
        privacy.erase_person(session, one.id, by_id=one.id, now=NOON)
    assert kept(database, assignment, one) == []
