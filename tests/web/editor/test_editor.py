"""The rung editor's answers: what changed and only that, two windows, and whatever is no action."""

import json
import re

import pytest

from server.ladder.text_form import parse_output, parse_rung
from server.store.database import Database
from server.store.programs import working_copy
from tests.web.lab import HTMX, RIGHT, Desk, Lab


@pytest.fixture
def desk(lab: Lab) -> Desk:
    """A desk with two rungs on it."""
    desk = lab.desk(lab.student)
    desk.build(RIGHT)
    return desk


def stored(database: Database, lab: Lab) -> dict[str, object]:
    with database.read() as session:
        return working_copy(session, lab.assignment, lab.student.id, {}).program


def test_an_action_answers_with_the_rung_that_changed(desk: Desk) -> None:
    answer = desk.do("set comment", rung=1, comment="Follows the level.").text
    assert 'hx-target="#rung-1"' in answer
    assert "Follows the level." in answer
    assert 'hx-target="#rung-0"' not in answer
    assert "Saved 12:00:00" in answer or "Saved " in answer


def test_an_inserted_rung_leaves_those_below_alone(desk: Desk) -> None:
    answer = desk.do("add rung", at=1).text
    assert answer.count('class="rung-row"') == 1
    assert 'hx-target="#rung-0" hx-swap="afterend"' in answer
    answer = desk.do("add rung", at=0).text
    assert 'hx-target="#rungs" hx-swap="afterbegin"' in answer


def test_a_deleted_rung_is_named_by_its_old_number(desk: Desk) -> None:
    answer = desk.do("delete rung", rung=0).text
    assert 'hx-target="#rung-0" hx-swap="delete"' in answer
    assert 'class="rung-row"' not in answer


def test_the_selection_follows_the_new_element(desk: Desk) -> None:
    answer = desk.do("insert element", rung=1, path=[0], element="NOT stop_pb", side="after").text
    assert 'data-select="1 path 1"' in answer
    assert 'aria-label="normally closed contact stop_pb at %IX0.1"' in answer


def test_a_renamed_point_is_drawn_anew_where_it_stands(desk: Desk) -> None:
    answer = desk.do("rename variable", symbol="sump_high", new="sump_full").text
    assert 'hx-target="#rung-0"' in answer
    assert 'hx-target="#rung-1"' in answer
    assert 'data-symbol="sump_full"' in answer


def test_messages_stand_at_their_rung(desk: Desk) -> None:
    answer = desk.do("set element", rung=1, path=[0], element="sump_hi").text
    assert 'class="remark error" data-at="path 0"' in answer
    assert "Declare sump_hi as BOOL" in answer


def test_undo_and_redo_survive_a_reload(desk: Desk, lab: Lab) -> None:
    desk.do("set comment", rung=1, comment="Second thoughts.")
    again = lab.desk(lab.student)
    assert "Second thoughts." in again.page()
    assert "Second thoughts." not in again.step("undo").text
    assert "The lamp follows the switch." in again.page()
    assert "Second thoughts." in again.step("redo").text


def test_nothing_to_undo_changes_nothing(lab: Lab) -> None:
    desk = lab.desk(lab.student)
    desk.page()
    assert desk.step("undo").status_code == 204


def test_a_window_that_is_newer_than_what_is_stored(lab: Lab) -> None:
    """As after a restored backup: nothing has been saved yet, so no time can be told."""
    desk = lab.desk(lab.student)
    desk.page()
    desk.revision = 7
    answer = desk.do("add rung", at=0)
    assert answer.status_code == 409
    assert "The program was changed, so your last step was not done." in answer.text


def test_an_older_window_sees_what_changed_and_overwrites_nothing(
    desk: Desk, lab: Lab, database: Database
) -> None:
    older = lab.desk(lab.student)
    older.page()
    desk.do("set comment", rung=0, comment="From the other window.")
    before = stored(database, lab)
    answer = older.do("set comment", rung=0, comment="From this window.")
    assert answer.status_code == 409
    assert "Changed in another window" in answer.text
    assert "From the other window." in answer.text
    assert stored(database, lab) == before
    assert older.do("set comment", rung=0, comment="From this window.").status_code == 200


def test_the_same_for_undo(desk: Desk, lab: Lab, database: Database) -> None:
    older = lab.desk(lab.student)
    older.page()
    desk.do("set comment", rung=0, comment="From the other window.")
    before = stored(database, lab)
    assert older.step("undo").status_code == 409
    assert stored(database, lab) == before


def test_a_rung_is_drawn_while_it_is_typed(desk: Desk, lab: Lab, database: Database) -> None:
    before = stored(database, lab)
    address = f"{desk.address}/program/preview"
    drawn = desk.client.post(address, data={"text": "lamp := start_pb;"}, headers=HTMX)
    assert "<svg" in drawn.text
    wrong = desk.client.post(address, data={"text": "lamp := start_pb"}, headers=HTMX)
    assert "<svg" not in wrong.text
    assert "line 1" in wrong.text.lower()
    assert stored(database, lab) == before


def test_initial_values_are_typed_as_literals(desk: Desk) -> None:
    variable = {"symbol": "pause", "type": "TIME", "initial": "T#2s", "retain": True}
    answer = desk.do("declare", variable=variable)
    assert answer.status_code == 200, answer.text
    assert 'data-initial="T#2s"' in answer.text
    assert 'data-retain="yes"' in answer.text
    word = desk.do("declare", variable={"symbol": "steps", "type": "WORD", "initial": "16#f"})
    assert 'data-initial="16#000F"' in word.text
    wrong = desk.do("declare", variable={"symbol": "w", "type": "WORD", "initial": "16#g"})
    assert "Write bits like 16#00FF" in wrong.text
    wrong = desk.do("declare", variable={"symbol": "b", "type": "BOOL", "initial": "maybe"})
    assert wrong.status_code == 422
    assert "Write TRUE or FALSE" in wrong.text


def test_a_word_is_declared_where_a_bit_of_it_is_used(desk: Desk) -> None:
    bit = desk.do("add output", rung=0, output="steps.3")
    assert bit.status_code == 200, bit.text
    assert "steps.%X3" in bit.text
    assert "Declare steps as WORD" in bit.text
    shifted = desk.do("set output", rung=0, number=1, output="steps := SHL(steps, 1) AND 16#00FF")
    assert "steps := SHL(steps, 1) AND 16#00FF" in shifted.text
    text = "IF TRUE THEN steps := steps AND 16#00FF; END_IF;"
    desk.do("declare", variable={"symbol": "steps", "type": "WORD"})
    assert text in desk.do("set rung", rung=0, text=text).text


def test_a_copied_rung_means_the_same_where_its_word_is_not_declared(desk: Desk) -> None:
    desk.do("declare", variable={"symbol": "steps", "type": "WORD"})
    desk.do("declare", variable={"symbol": "mask", "type": "WORD"})
    page = desk.do("set rung", rung=0, text="IF TRUE THEN steps := steps AND mask; END_IF;").text
    assert 'data-text="IF TRUE THEN steps := steps AND mask; END_IF;"' in page
    found = re.search(r'data-carried="([^"]*)"', page)
    assert found is not None
    pasted = parse_rung(found[1].strip())
    assert pasted.outputs == (parse_output("steps := steps AND mask"),)


MARKUP = "<script>alert(1)</script>"

BAD = {
    "no JSON": "insert",
    "no object": "[1, 2]",
    "no action": "{}",
    "unknown action": '{"action": "explode"}',
    "unknown field": '{"action": "add rung", "at": 0, "extra": 1}',
    "unknown element": '{"action": "insert element", "rung": 0, "path": null, "element": "?!"}',
    "no such rung": '{"action": "delete rung", "rung": 77}',
    "negative rung": '{"action": "delete rung", "rung": -1}',
    "no such path": '{"action": "delete elements", "rung": 0, "first": [9, 9, 9]}',
    "endless path": json.dumps({"action": "delete elements", "rung": 0, "first": [0] * 5000}),
    "deep nesting": '{"action": "together", "actions": ' + "[" * 5000 + "]" * 5000 + "}",
    "markup in a symbol": json.dumps(
        {"action": "set element", "rung": 0, "path": [1], "element": MARKUP}
    ),
    "markup in a declaration": json.dumps(
        {"action": "declare", "variable": {"symbol": MARKUP, "type": "BOOL"}}
    ),
    "a number of a million digits": '{"action": "add rung", "at": ' + "9" * 100_000 + "}",
    "too many rungs": json.dumps({"action": "paste rungs", "at": 0, "text": ";" * 5000}),
    "too deep a rung": json.dumps(
        {"action": "set rung", "rung": 0, "text": f"lamp := {'(' * 2000}a{')' * 2000};"}
    ),
}


@pytest.mark.parametrize("action", BAD.values(), ids=BAD.keys())
def test_whatever_is_no_action_is_refused_and_changes_nothing(
    desk: Desk, lab: Lab, database: Database, action: str
) -> None:
    before, revision = stored(database, lab), desk.revision
    values = {"action": action, "revision": str(revision)}
    answer = desk.client.post(f"{desk.address}/program", data=values, headers=HTMX)
    assert answer.status_code == 422, answer.text
    assert 'class="notice alarm"' in answer.text
    assert "<script" not in answer.text
    assert stored(database, lab) == before


def test_ten_megabytes_are_not_read(desk: Desk, lab: Lab, database: Database) -> None:
    before = stored(database, lab)
    headers = {**HTMX, "Content-Type": "application/x-www-form-urlencoded"}
    body = f"revision={desk.revision}&action=[{'1,' * 5_000_000}1]"
    answer = desk.client.post(f"{desk.address}/program", content=body, headers=headers)
    assert answer.status_code == 413
    assert "larger than" in answer.text
    assert stored(database, lab) == before


def test_markup_in_a_comment_is_shown_as_text(desk: Desk) -> None:
    answer = desk.do("set comment", rung=0, comment=MARKUP).text
    assert MARKUP not in answer
    assert "&lt;script&gt;" in answer


def test_fields_that_are_missing_or_no_number(desk: Desk) -> None:
    address = f"{desk.address}/program"
    assert desk.client.post(address, data={"revision": "1"}, headers=HTMX).status_code == 422
    wrong = {"action": '{"action": "add rung", "at": 0}', "revision": "first"}
    assert desk.client.post(address, data=wrong, headers=HTMX).status_code == 422


def test_each_student_has_a_program_of_their_own(desk: Desk, lab: Lab) -> None:
    assert "The lamp follows the switch." not in lab.desk(lab.classmate).page()


def test_an_action_whose_answer_was_lost_is_done_once(
    desk: Desk, lab: Lab, database: Database
) -> None:
    insert = {"action": "insert element", "rung": 1, "path": [0], "element": "stop_pb"}
    values = {"action": json.dumps(insert), "revision": str(desk.revision), "resent": "true"}
    desk.send(insert)
    once = stored(database, lab)
    address = f"{desk.address}/program"
    answer = desk.client.post(address, data=values, headers=HTMX)
    assert answer.status_code == 200
    assert 'hx-target="#rung-1"' in answer.text
    # Another action, or one that was not cut off, was not done.
    for other in ({"resent": "false"}, {"action": '{"action": "add rung", "at": 0}'}):
        assert desk.client.post(address, data=values | other, headers=HTMX).status_code == 409
    assert stored(database, lab) == once
