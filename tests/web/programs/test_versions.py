"""Versions under names: kept, compared with attempts and the present, brought back, forgotten."""

import re
from html import unescape

import pytest

from server.ladder.json_form import from_json
from server.ladder.text_form import parse_program
from server.store.database import Database, Document
from server.store.programs import working_copy
from server.store.versions import MAX_VERSIONS, versions_of
from tests.web.lab import OVERFILLS, RIGHT, Desk, Lab


@pytest.fixture
def desk(lab: Lab) -> Desk:
    """A desk with a version called "Right", and another program on it."""
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    assert keep(desk, "Right") == 303
    desk.build(OVERFILLS)
    return desk


def keep(desk: Desk, name: str) -> int:
    return desk.client.post(f"{desk.address}/versions", data={"name": name}).status_code


def ref(database: Database, lab: Lab, number: int = 0) -> str:
    with database.read() as session:
        return f"version-{versions_of(session, lab.assignment, lab.student.id)[number].id}"


def stored(database: Database, lab: Lab) -> Document:
    with database.read() as session:
        return working_copy(session, lab.assignment, lab.student.id, {}).program


def compare(desk: Desk, before: str, after: str) -> str:
    answer = desk.client.get(
        f"{desk.address}/comparison", params={"before": before, "after": after}
    )
    assert answer.status_code == 200
    return unescape(answer.text)


def test_a_version_is_compared_with_the_present(desk: Desk, lab: Lab, database: Database) -> None:
    shown = compare(desk, ref(database, lab), "now")
    assert "From “Right” to “The program now”." in shown
    assert "1 rung changed." in shown
    assert "removed normally closed contact sump_high" in shown
    assert "Rung 2 is the same." in shown
    assert 'class="element contact removed"' in shown
    assert "Both are the same." in compare(desk, "now", "now")
    assert "added" in compare(desk, "start", "now")


def test_a_step_is_looked_at_and_gone_back_to(desk: Desk, lab: Lab, database: Database) -> None:
    page = unescape(desk.client.get(f"{desk.address}/versions").text)
    (earliest, *_, newest) = re.findall(r"comparison\?before=(step-\d+)&after=now", page)[::-1]
    assert earliest == "step-0"
    assert "Both are the same." in compare(desk, earliest, "start")
    shown = compare(desk, newest, "now")
    assert f"From “Step {newest[5:]}” to “The program now”." in shown
    answer = desk.client.post(
        f"{desk.address}/program/bring-back", data={"revision": desk.revision, "state": earliest}
    )
    assert answer.status_code == 303
    assert from_json(stored(database, lab)).rungs == ()
    for state in ("step-999", "step--1"):
        assert desk.client.get(f"{desk.address}/comparison?before={state}").status_code == 404
    other = lab.client_for(lab.instructor)
    assert other.get(f"{desk.address}/comparison?before=step-1").status_code in (403, 404)


def test_an_attempt_is_compared_with_a_version(desk: Desk, lab: Lab, database: Database) -> None:
    desk.page()
    assert desk.submit().status_code == 204
    shown = compare(desk, "attempt-1", ref(database, lab))
    assert "From “Attempt 1” to “Right”." in shown
    assert "added normally closed contact sump_high" in shown
    assert "Attempt 1" in desk.client.get(f"{desk.address}/versions").text


def test_attempts_are_compared_for_their_student_and_who_teaches(desk: Desk, lab: Lab) -> None:
    desk.page()
    desk.submit()
    desk.do("set comment", rung=0, comment="Second thoughts.")
    address = desk.submit().headers["HX-Redirect"]
    for user in (lab.student, lab.instructor):
        client = lab.client_for(user)
        shown = unescape(client.get(f"{address}/comparison").text)
        assert "From “Attempt 1” to “Attempt 2”." in shown
        assert "Rung 1 changed: another comment." in shown
        # Only the words differ, so the rung is drawn once.
        assert shown.count('<svg xmlns="http://www.w3.org/2000/svg" class="rung"') == 1
        assert "Restore" not in shown
        first = unescape(client.get(f"{address}/comparison", params={"before": "0"}).text)
        assert "From “What the exercise gives” to “Attempt 2”." in first
        assert client.get(f"{address}/comparison", params={"before": "7"}).status_code == 404
    assert lab.client_for(lab.classmate).get(f"{address}/comparison").status_code == 404


def test_an_older_version_comes_back_in_one_step(desk: Desk, lab: Lab, database: Database) -> None:
    desk.page()
    other = stored(database, lab)
    values = {"state": ref(database, lab), "revision": str(desk.revision)}
    answer = desk.client.post(f"{desk.address}/program/bring-back", data=values)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{desk.address}#program")
    assert from_json(stored(database, lab)).rungs[0].comment == "The fill pump seals in."
    desk.page()
    desk.step("undo")
    assert stored(database, lab) == other


def test_a_change_in_another_window_is_not_overwritten(
    desk: Desk, lab: Lab, database: Database
) -> None:
    values = {"state": ref(database, lab), "revision": str(desk.revision)}
    desk.do("set comment", rung=0, comment="From the other window.")
    before = stored(database, lab)
    answer = desk.client.post(f"{desk.address}/program/bring-back", data=values)
    assert answer.status_code == 409
    assert "changed in another window" in answer.text
    assert "From the other window." in answer.text
    assert stored(database, lab) == before


def test_files_of_a_version(desk: Desk, lab: Lab, database: Database) -> None:
    kept = ref(database, lab)
    text = desk.client.get(f"{desk.address}/program.st", params={"state": kept})
    assert "NOT sump_high" in text.text
    assert parse_program(text.text).rungs[0].comment == "The fill pump seals in."
    assert kept in text.headers["Content-Disposition"]


@pytest.mark.parametrize(("name", "said"), [(" ", "needs a name"), ("Right ", "already")])
def test_a_name_that_will_not_do(desk: Desk, name: str, said: str) -> None:
    answer = desk.client.post(f"{desk.address}/versions", data={"name": name})
    assert answer.status_code == 422
    assert said in answer.text


def test_no_more_versions_than_the_limit(desk: Desk) -> None:
    for number in range(1, MAX_VERSIONS):
        assert keep(desk, f"Version {number}") == 303
    assert keep(desk, "One more") == 422


def test_a_version_is_forgotten(desk: Desk, lab: Lab, database: Database) -> None:
    number = ref(database, lab).partition("-")[2]
    assert desk.client.post(f"{desk.address}/versions/{number}/forget").status_code == 303
    assert "Right" not in desk.client.get(f"{desk.address}/versions").text


def test_nobody_reaches_the_version_of_somebody_else(
    desk: Desk, lab: Lab, database: Database
) -> None:
    kept = ref(database, lab)
    number = kept.partition("-")[2]
    for user in (lab.classmate, lab.instructor):
        other = lab.desk(user)
        other.page()
        values = {"state": kept, "revision": str(other.revision)}
        assert (
            other.client.get(f"{other.address}/comparison", params={"before": kept}).status_code,
            other.client.get(f"{other.address}/program.st", params={"state": kept}).status_code,
            other.client.get(f"{other.address}/print", params={"state": kept}).status_code,
            other.client.post(f"{other.address}/versions/{number}/forget").status_code,
            other.client.post(f"{other.address}/program/bring-back", data=values).status_code,
        ) == (404,) * 5
    assert ref(database, lab) == kept


def test_a_state_that_is_not_there(desk: Desk) -> None:
    desk.page()
    long = "version-1" * 99
    for state in ("", "then", "version-0", "version-9999", "attempt-1", "version-x", long):
        values = {"state": state, "revision": str(desk.revision)}
        answers = (
            desk.client.get(f"{desk.address}/comparison", params={"after": state}),
            desk.client.get(f"{desk.address}/program.xml", params={"state": state}),
            desk.client.post(f"{desk.address}/program/bring-back", data=values),
        )
        assert {answer.status_code for answer in answers} <= {404, 422}, state
