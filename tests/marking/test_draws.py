"""Numbers drawn per student: what a seed draws, where values are put, and what is marked."""

from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.marking.authoring.exercise_check import check_exercise
from server.marking.exercise import Exercise
from server.marking.files.catalogue import Catalogue
from server.marking.files.document import FileFault, read_document
from server.marking.files.drafts import Draft, read_draft
from server.marking.files.draws import Parameter, corners, drawn, middle, read_parameters
from server.marking.files.exercise_file import build_exercise
from server.marking.files.placeholders import fill
from server.marking.files.reference_programs import parse_program
from server.marking.marking import mark
from server.marking.verdict import Status
from tests.marking.drawn_exercise import SLUG, TEXT, program, write
from tests.marking.small_exercise import TEXT as SMALL
from tests.marking.small_exercise import built

DELAY = Parameter("delay", Decimal("0.5"), Decimal("0.25"), 15, "s")
COUNT = Parameter("count", Decimal(2), Decimal(2), 4, "")


@given(st.text(min_size=1))
def test_a_draw_follows_from_its_seed_and_stays_in_the_range(seed: str) -> None:
    draw = drawn((DELAY, COUNT), seed)
    assert draw == drawn((DELAY, COUNT), seed)
    assert draw["delay"] in [DELAY.value(n) for n in range(15)]
    assert draw["count"] in ("2", "4", "6", "8")
    # What is drawn for one does not depend on the others.
    assert drawn((COUNT,), seed)["count"] == draw["count"]


def test_every_value_is_drawn_for_somebody_and_neighbours_differ() -> None:
    seen = [drawn((DELAY, COUNT), f"7-{student}") for student in range(1, 200)]
    assert {d["delay"] for d in seen} == {DELAY.value(n) for n in range(15)}
    assert {d["count"] for d in seen} == {"2", "4", "6", "8"}
    alike = sum(one == other for one, other in pairwise(seen))
    assert alike < 20


def test_the_middle_and_the_corners() -> None:
    assert middle((DELAY, COUNT)) == {"delay": "2.25 s", "count": "4"}
    assert drawn((DELAY, COUNT), "") == middle((DELAY, COUNT))
    assert corners((DELAY, COUNT)) == (
        {"delay": "0.5 s", "count": "2"},
        {"delay": "4 s", "count": "8"},
    )
    assert corners(()) == ()


@pytest.mark.parametrize(
    ("text", "filled"),
    [
        ("for <delay>.", "for 2.5 s."),
        ("<delay + 100 ms>", "2.6 s"),
        ("<delay - 0.5 s>", "2 s"),
        ("T#<delay in ms>ms", "T#2500ms"),
        ("T#<delay - 100 ms in ms>ms", "T#2400ms"),
        ("level >= <level in mm> AND x < 5", "level >= 900 AND x < 5"),
        ("<level + 1 cm in mm>", "910"),
        ("<count> crates, <count + 2> in all", "4 crates, 6 in all"),
        ("a < b AND c > d", "a < b AND c > d"),
        ("<img src=x onerror=alert(1)>", "<img src=x onerror=alert(1)>"),
    ],
)
def test_values_stand_for_names(text: str, filled: str) -> None:
    found = fill(text, {"delay": "2.5 s", "level": "900 mm", "count": "4"})
    assert (found.text, found.wrong) == (filled, ())


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("<dealy>", "There is no parameter 'dealy'. Did you mean <delay>?"),
        ("<x>", "There is no parameter 'x'. There are delay, count."),
        ("<delay in mm>", "'mm' does not fit here: this parameter has the units ms, s, min, h."),
        (
            "<delay + 5>",
            "A number without unit does not fit here: this parameter has the units ms, s, min, h.",
        ),
        ("<count in s>", "'s' does not fit here: this parameter has no unit."),
        ("<delay + 5 kg>", "'kg' is no unit."),
    ],
)
def test_a_name_that_stands_for_nothing_is_told(text: str, sentence: str) -> None:
    found = fill(f"one\n and {text}", {"delay": "2.5 s", "count": "4"})
    assert found.wrong == ((2, 6, sentence),)


@given(st.lists(st.sampled_from(["<a>", "<long_name>", "x", " ", "<a in ms>"]), max_size=12))
def test_a_place_behind_values_is_where_it_was(parts: list[str]) -> None:
    text = "".join(parts) + "!"
    found = fill(text, {"a": "2.5 s", "long_name": "7"})
    assert found.column(1, found.text.index("!") + 1) == text.index("!") + 1


def exercise(**numbers: str) -> Exercise:
    return build_exercise(read_document("exercise.yaml", TEXT.encode()), SLUG, numbers)


def test_texts_measures_and_conditions_have_the_numbers() -> None:
    found = exercise(delay="1.5 s", level="600 mm")
    assert "pressed for 1.5 s, at 600 mm" in found.statement
    assert found.requirements[0].text.endswith("for 1.5 s.")
    assert found.requirements[0].checks[0].fails == "the lamp was dark after 1.5 s."
    assert found.scenarios[0].steps[1].after_ms == 2500
    assert found.plant.vessels[0].start_level == pytest.approx(0.6)
    assert found.numbers == (("delay", "1.5 s"), ("level", "600 mm"))


def test_other_numbers_are_another_suite_and_the_same_marking() -> None:
    one, other = exercise(delay="1 s", level="300 mm"), exercise(delay="3 s", level="300 mm")
    assert one.suite_hash != other.suite_hash
    for found in (one, other):
        right = parse_program("p", program("<delay in ms>ms").encode(), found)
        assert mark(found, right).requirements[0].status is Status.MET
    mine = parse_program("p", program("1s").encode(), other)
    assert mark(other, mine).requirements[0].status is Status.NOT_MET


def test_a_count_stands_where_a_whole_number_belongs() -> None:
    text = SMALL.replace("version: 1", "parameters: [{name: heavy, from: 2, to: 4, step: 1}]")
    found = built(text.replace("kind: stated", "kind: stated\n    weight: <heavy>"))
    assert found.requirements[0].weight == 3


def test_a_fault_behind_a_value_has_its_column_of_the_file() -> None:
    broken = TEXT.replace("in mm>, held for", "in mm> AND lamb, held for")
    line = next(n for n, row in enumerate(broken.splitlines(), 1) if "AND lamb" in row)
    column = broken.splitlines()[line - 1].index("lamb,") + 1
    with pytest.raises(FileFault) as refused:
        build_exercise(read_document("exercise.yaml", broken.encode()), SLUG)
    assert str(refused.value).startswith(f"exercise.yaml:{line}:{column}: requirements.1.checks.1")


def test_a_program_s_fault_has_its_column_of_the_file() -> None:
    text = program("<delay in ms>ms").replace("ms);", "ms) AND lamb;")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "lamb" in row)
    column = text.splitlines()[line - 1].index("lamb") + 1
    with pytest.raises(FileFault, match=f"p:{line}:{column}: lamb"):
        parse_program("p", text.encode(), exercise(delay="1 s", level="300 mm"))


def test_the_catalogue_builds_each_draw_once(tmp_path: Path) -> None:
    write(tmp_path, {})
    catalogue = Catalogue(tmp_path)
    plain, mine, again = (catalogue.find(SLUG, seed) for seed in ("", "1-2", "1-2"))
    assert plain is not None
    assert mine is not None
    assert plain.numbers != mine.numbers
    assert mine is again


def test_programs_are_checked_at_the_corners(tmp_path: Path) -> None:
    middle_only = program("2250ms")
    folder = write(
        tmp_path, {"right-fixed.st": middle_only, "right-one.st": program("<delay in s>s")}
    )
    report = check_exercise(folder)
    # The middle is right; both corners are not.
    assert [line.partition("With ")[2] for line in report.findings] == [
        "delay 0.5 s, level 300 mm.",
        "delay 4 s, level 700 mm.",
    ]
    assert all("right-fixed.st: R1 is not met" in line for line in report.findings)


def test_a_draft_that_does_not_fit_at_a_corner_is_not_sound() -> None:
    text = TEXT.replace("height: 1 m", "height: 600 mm")
    reading = read_draft(Draft(SLUG, text, {}))
    assert reading.exercise is None
    (fault,) = reading.faults
    assert fault.sentence.startswith("With delay 4 s, level 700 mm: ")
    assert fault.line == next(n for n, row in enumerate(text.splitlines(), 1) if "vessels" in row)
    whole = read_draft(Draft(SLUG, TEXT, {"right-one.st": program("<delay in s>s")}))
    assert whole.sound
    assert [dict(c.exercise.numbers)["delay"] for c in whole.corners if c.exercise] == [
        "0.5 s",
        "4 s",
    ]


def test_parameters_without_names_change_nothing() -> None:
    parameters = "parameters: [{name: soak, from: 1 s, to: 2 s, step: 1 s}]"
    assert built(SMALL.replace("version: 1", parameters)).suite_hash == built().suite_hash
    assert read_parameters(read_document("a", b"title: x")) == ()
