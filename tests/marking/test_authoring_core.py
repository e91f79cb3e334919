"""The core behind the author's sheet: changes of a text, demands in a sentence, pictures, looks."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.marking.authoring.demands import split_number, two_demands
from server.marking.authoring.implied import implied_requirements
from server.marking.authoring.plant_templates import TEMPLATES, new_point
from server.marking.authoring.quality import look_into
from server.marking.authoring.yaml_edit import add_part, move_part, set_value
from server.marking.check import Pattern
from server.marking.checks import CHECKS, read_check
from server.marking.faults.adequacy import Fate, adequacy
from server.marking.files.document import FileFault, read_document
from server.marking.files.drafts import Draft, new_text, points_and_plant, read_draft
from server.marking.files.exercise_file import load_exercise
from server.marking.files.exercise_zip import from_zip, to_zip
from server.marking.files.reference_programs import load_programs
from server.marking.presentation.check_pictures import draw_check
from server.paths import EXERCISES
from server.plant.devices import KINDS
from tests.factories import EXERCISES as SMALL

SUMP = SMALL / "wash-sump" / "exercise.yaml"
RIGHT = """PROGRAM right
VAR
    start_pb AT %IX0.0 : BOOL;
    stop_pb AT %IX0.1 : BOOL;
    sump_high AT %IX0.2 : BOOL;
    fill_pump AT %QX0.0 : BOOL;
    lamp AT %QX0.1 : BOOL;
END_VAR

// [R1, R2a, R2b] The fill pump seals in.
fill_pump := (start_pb OR fill_pump) AND stop_pb AND NOT sump_high;

// [R3] The lamp follows the switch.
lamp := sump_high;
END_PROGRAM
"""


def data_of(text: str) -> Any:
    return read_document("exercise.yaml", text.encode()).data


_, TANK_PLANT, TANK_POINTS = TEMPLATES["filled tank"]
TANK = set_value(set_value(new_text("a", "A"), ("plant",), TANK_PLANT), ("points",), TANK_POINTS)


@settings(max_examples=150)
@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=60))
def test_any_line_comes_back_as_it_was_typed(line: str) -> None:
    after = data_of(set_value(TANK, ("points", 1, "label"), line))
    assert after["points"][1]["label"] == line
    # Nothing else has changed.
    after["points"][1]["label"] = TANK_POINTS[1]["label"]
    assert after == data_of(TANK)


def test_a_change_leaves_comments_and_order() -> None:
    text = "# head\na: 1  # one\nb:\n  - {x: 1}\n  - {x: 2}\n"
    after = set_value(text, ("a",), 2)
    assert "# head" in after
    assert "# one" in after
    assert data_of(move_part(after, ("b", 1), -1))["b"] == [{"x": 2}, {"x": 1}]
    assert data_of(add_part(after, ("b",), {"x": 3}))["b"][2] == {"x": 3}
    assert data_of(set_value(after, ("b", 0), None))["b"] == [{"x": 2}]


def test_a_place_that_is_not_there_is_refused() -> None:
    with pytest.raises(LookupError):
        set_value("a: 1\n", ("a", "b", "c"), 2)
    with pytest.raises(LookupError):
        move_part("a: [1]\n", ("a", 4), 1)
    with pytest.raises(FileFault):
        set_value("a: [", ("a",), 2)


@pytest.mark.parametrize(
    ("sentence", "word", "first", "second"),
    [
        ("The pump starts and the lamp lights.", "and", "The pump starts.", "The lamp lights."),
        ("The pump starts and stops.", "and", "The pump starts.", "The pump stops."),
        (
            "The valve opens but not while the pump runs.",
            "but not",
            "The valve opens.",
            "It must not be that the valve opens while the pump runs.",
        ),
        (
            "The pump runs unless the tank is full.",
            "unless",
            "The pump runs.",
            "While the tank is full, it must not be that the pump runs.",
        ),
    ],
)
def test_two_demands_in_one_sentence(sentence: str, word: str, first: str, second: str) -> None:
    found = two_demands(sentence)
    assert found is not None
    assert (found.word, found.first, found.second) == (word, first, second)


@pytest.mark.parametrize(
    "sentence",
    [
        "The start and stop push-buttons work the pump.",
        "A press of Fill starts the fill pump.",
        "Red and green lamps are lit.",
        "",
    ],
)
def test_one_demand_is_left_alone(sentence: str) -> None:
    assert two_demands(sentence) is None


def test_numbers_of_a_split() -> None:
    assert split_number("R2", {"R1", "R2"}) == ("R2a", "R2b")
    assert split_number("R2a", {"R2a", "R2b"}) == ("R2a", "R2c")


CASES: list[dict[str, Any]] = [
    {"never": "a", "given": "b"},
    {"always": "a", "given": "b"},
    {"whenever": "a", "then": "b", "within": "50 ms"},
    {"whenever": "a", "then": "b", "within": "0 ms"},
    {"whenever": "a", "then": "b", "within": "2 s", "held for": "1 s", "until": "c"},
    {"whenever": "a", "then": "b", "within": "10 min"},
    {"only": "a", "after": "b"},
    {"only": "a", "after": "b", "afresh": "c"},
    {"lasts": "a", "at least": "1 s"},
    {"lasts": "a", "at most": "2 s"},
    {"lasts": "a", "at least": "1 s", "at most": "2 s"},
    {"steady": "a", "changes": 0, "window": "1 s"},
    {"steady": "a", "changes": 4, "window": "2 s"},
]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_a_picture_says_what_the_monitor_says(case: dict[str, Any]) -> None:
    drawn = draw_check(read_check(case))
    assert drawn is not None
    passes, fails = drawn
    assert passes.bad_ms is None
    assert fails.bad_ms is not None
    assert "not met" in fails.drawing
    assert "not met" not in passes.drawing


def test_each_kind_of_check_begins_as_one_that_can_be_filled_in() -> None:
    for key, kind in CHECKS.items():
        assert key in kind.draft
        letters = iter("abcdef")
        filled = {name: value or next(letters) for name, value in kind.draft.items()}
        check = read_check(filled)
        assert isinstance(check, kind)
        assert list(check.faults([])) == []
        if isinstance(check, Pattern):
            assert check.judged in check.conditions().values()
            drawn = draw_check(check)
            assert drawn is not None, key
            assert (drawn[0].bad_ms is None, drawn[1].bad_ms is None) == (True, False), key


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_plant_to_begin_with_is_sound_with_its_points(name: str) -> None:
    _, plant, points = TEMPLATES[name]
    text = set_value(set_value(new_text("a", "A"), ("plant",), plant), ("points",), points)
    declared, built = points_and_plant(data_of(text))
    assert built is not None
    assert len(declared) == len(points)
    # The implied requirements that are offered can be taken as they are.
    offered = implied_requirements(declared, built)
    assert offered
    rows = [
        {"id": f"R{n}", "text": i.text, "kind": "implied", "checks": list(i.checks)}
        for n, i in enumerate(offered, 1)
    ]
    for key, value in (
        ("summary", "s"),
        ("statement", "s"),
        ("requirements", rows),
        ("scenarios", [{"name": "One", "steps": []}]),
    ):
        text = set_value(text, (key,), value)
    assert read_draft(Draft("a", text, {})).faults == ()


def test_each_device_of_the_catalogue_gets_a_free_address() -> None:
    rows: list[dict[str, Any]] = []
    for kind in KINDS:
        rows.append(new_point(kind, rows))
    assert len({row["address"] for row in rows}) == len(rows) == len({r["device"] for r in rows})


def test_a_zip_of_each_shipped_exercise_comes_back() -> None:
    for folder in sorted(path.parent for path in EXERCISES.glob("*/exercise.yaml")):
        programs = {p.name: p.read_text() for p in (folder / "programs").glob("*.st")}
        draft = Draft(folder.name, (folder / "exercise.yaml").read_text(), programs)
        assert from_zip(to_zip(draft)) == draft


def test_a_look_tells_what_is_out_of_step_contradicts_or_is_impossible() -> None:
    text = SUMP.read_text().replace("pump P-204", "pump P-999 (R7)", 1)
    for id, check in (
        ("R8", {"never": "lamp AND sump_high", "given": "sump_high"}),
        ("R9", {"always": "lamp AND NOT lamp", "given": "power"}),
    ):
        row = {"id": id, "text": "Dark.", "kind": "implied", "checks": [check]}
        text = add_part(text, ("requirements",), row)
    reading = read_draft(Draft("wash-sump", text, {"right-one.st": RIGHT}))
    assert reading.exercise is not None, reading.faults
    assert reading.program_faults == ()
    *_, last = look_into(reading.exercise, reading.programs)
    assert last.done == last.total
    told = [f"{f.kind} {f.concerns}: {f.sentence}" for f in last.findings]
    assert "statement P-999: The statement speaks of P-999; no point has this tag." in told
    assert any("names R7" in each for each in told), told
    assert any("R8 contradict each other" in each and "R3" in each for each in told), told
    assert any("R9 is met by none of" in each for each in told), told


def test_a_draft_that_is_no_yaml_is_read_all_the_same(tmp_path: Path) -> None:
    reading = read_draft(Draft("a", "title: [", {}))
    assert reading.data is None
    assert reading.faults


def test_the_look_and_the_command_say_the_same_and_the_look_tells_how_far_it_is() -> None:
    folder = EXERCISES / "apple-wash-sump"
    exercise = load_exercise(folder)
    programs = load_programs(folder, exercise)
    steps = list(look_into(exercise, programs))
    assert [step.done for step in steps] == sorted(step.done for step in steps)
    found = adequacy(exercise, programs)
    assert steps[-1].total == steps[-1].done == len(found.findings)
    assert steps[-1].caught == found.count(Fate.CAUGHT)
    assert [f for f in steps[-1].findings if f.kind == "variant"] == []
    assert found.survivors == ()
