"""A new name: everything that used the old one follows, and the exercise is the same again."""

from dataclasses import replace

import pytest

from server.marking.authoring.renaming import may_follow, renamed
from server.marking.files.catalogue import Catalogue
from server.marking.files.document import FieldPath, read_document
from server.marking.files.drafts import Draft, read_draft
from tests.factories import EXERCISES


def data_of(draft: Draft) -> object:
    return read_document("exercise.yaml", draft.text.encode()).data


def after(draft: Draft, path: FieldPath, old: str, new: str) -> Draft:
    assert may_follow(data_of(draft), path, old, new)
    text, programs = renamed(draft.text, draft.programs, path, old, new)
    return replace(draft, text=text, programs=programs)


PROGRAM = """// fails: R2a
PROGRAM wrong
VAR
    start_pb AT %IX0.0 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
END_VAR
// [R1, R2a] The fill_pump.
fill_pump := start_pb;
END_PROGRAM
"""


@pytest.mark.parametrize(
    ("path", "old", "new"),
    [
        (("points", 0, "symbol"), "start_pb", "go_pb"),
        (("points", 3, "symbol"), "fill_pump", "feed_pump"),
        (("plant", "tank", "vessels", 0, "name"), "sump", "pit"),
        (("requirements", 1, "id"), "R2a", "R8"),
        (("scenarios", 0, "name"), "fill until full", "A first fill"),
    ],
)
def test_what_uses_a_name_follows_it(path: FieldPath, old: str, new: str) -> None:
    before = replace(Catalogue(EXERCISES).source("wash-sump"), programs={"wrong-stop.st": PROGRAM})
    changed = after(before, path, old, new)
    reading = read_draft(changed)
    assert reading.faults == ()
    assert reading.program_faults == ()
    assert changed.text != before.text
    # There and back: nothing else was touched.
    back = after(changed, path, new, old)
    assert data_of(back) == data_of(before)
    assert back.programs == before.programs


def test_the_number_of_a_requirement_follows_in_checks_and_scenarios() -> None:
    text = (
        "statement: Lit (R1, R10).\nrequirements:\n  - id: R1\n  - id: R2\n    checks:\n"
        "      - {never: lamp, follows: [R1]}\nscenarios:\n  - judges: [R1, R2]\n"
    )
    changed, _ = renamed(text, {}, ("requirements", 0, "id"), "R1", "R7")
    assert "Lit (R7, R10)." in changed
    assert "follows: [R7]" in changed
    assert "judges: [R7, R2]" in changed


def test_a_sentence_stays_and_what_is_quoted_in_it_follows() -> None:
    text = (
        "statement: The horn is `horn`.\npoints:\n  - symbol: horn\n"
        "scenarios:\n  - name: horn\n    start: {horn: on}\n    run on: 2 s\n"
    )
    changed, _ = renamed(text, {}, ("points", 0, "symbol"), "horn", "siren")
    assert "The horn is `siren`." in changed
    assert "name: horn" in changed
    assert "start: {siren: on}" in changed


def test_a_program_that_has_the_new_name_already_is_left_alone() -> None:
    program = "siren := horn; // horn\n"
    path = ("points", 0, "symbol")
    text = "points:\n  - symbol: horn\n"
    assert renamed(text, {"a": program}, path, "horn", "siren")[1] == {"a": program}
    assert renamed(text, {"a": program}, path, "horn", "bell")[1] == {
        "a": "siren := bell; // horn\n"
    }


@pytest.mark.parametrize(
    ("old", "new"), [("horn", "horn"), ("horn", "no name"), ("", "siren"), ("horn", "lamp")]
)
def test_nothing_follows_where_a_name_is_no_name_or_is_taken(old: str, new: str) -> None:
    data = {"points": [{"symbol": old}, {"symbol": "lamp"}]}
    assert not may_follow(data, ("points", 0, "symbol"), old, new)
