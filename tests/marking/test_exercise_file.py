"""Exercise files: what they become, and the place and sentence of every fault."""

from pathlib import Path

import pytest

from server.ladder.elements import ContactKind
from server.marking.checks.lasts import Lasts
from server.marking.checks.whenever import Response
from server.marking.files.catalogue import Catalogue
from server.marking.files.document import FileFault
from server.marking.files.exercise_file import exercise_schema, list_exercises, load_exercise
from server.marking.scenario import Adjust, Step, Turn
from server.paths import EXERCISES
from server.plant.devices import KINDS
from server.plant.parts.level_switch import LevelSwitch
from tests.marking.small_exercise import SLUG, TEXT, built


def test_measures_are_si_and_durations_milliseconds() -> None:
    plant = built().plant
    assert (plant.vessels[0].area, plant.vessels[0].height) == (0.5, 1.0)
    assert plant.streams[0].rate == pytest.approx(0.005)
    assert plant.level_switches == (LevelSwitch("LSH-203", "tank", 0.8, 0.01),)


def test_points_know_their_resting_state() -> None:
    start, stop, high, pump = built().points
    assert (start.resting, stop.resting, high.resting, pump.resting) == (0, 1, None, 0)
    assert stop.wiring is ContactKind.CLOSED
    assert high.description == "level switch"


def test_checks_become_patterns() -> None:
    response, lasts = built().requirements[0].checks
    assert isinstance(response, Response)
    assert (response.trigger.text, response.within_ms) == ("RISING(start_pb) AND stop_pb", 50)
    assert isinstance(lasts, Lasts)
    assert (lasts.at_least_ms, lasts.at_most_ms) == (100, 60_000)


def test_a_tap_is_a_press_and_a_release() -> None:
    scenario = built().scenarios[0]
    assert scenario.start == (Adjust("tank.level", 0.3),)
    press, release, wait, *_ = scenario.steps
    assert press == Step((Turn("panel.start_pb", True),), after_ms=1000)
    assert release == Step((Turn("panel.start_pb", False),), after_ms=300)
    assert wait.when is not None
    assert (wait.when.text, wait.within_ms) == ("tank_high", 120_000)


def test_the_hash_follows_what_decides_and_nothing_else() -> None:
    usual = built().suite_hash
    assert usual == built().suite_hash
    assert built(TEXT.replace("title: Small tank", "title: Tank")).suite_hash == usual
    assert built(TEXT.replace("Start starts", "A press starts")).suite_hash == usual
    for old, new in (
        ("within: 50 ms", "within: 60 ms"),
        ("height: 800 mm", "height: 810 mm"),
        ("PT := T#5s", "PT := T#6s"),
        ("after: 1 s", "after: 2 s"),
        ("wiring: normally closed", "wiring: normally open"),
    ):
        assert built(TEXT.replace(old, new)).suite_hash != usual, new


def test_an_exercise_is_a_folder_with_its_name(tmp_path: Path) -> None:
    folder = tmp_path / SLUG
    folder.mkdir()
    (folder / "exercise.yaml").write_text(TEXT, "utf-8")
    assert load_exercise(folder).slug == SLUG
    assert list_exercises(tmp_path) == (folder,)
    with pytest.raises(FileFault, match=r"exercise\.yaml: The file can't be read: No such"):
        load_exercise(tmp_path)


def test_the_schema_names_every_key_of_the_small_exercise() -> None:
    schema = exercise_schema()
    keys = {line.split(":")[0] for line in TEXT.splitlines() if line[:1].isalpha()}
    assert keys <= set(schema["properties"])
    assert schema["additionalProperties"] is False


# A fault is put into the small exercise: old text, new text with '¦' where the fault is told.
FAULTS = [
    # keys and forms
    ("exercise: small-tank\ntitle: Small tank\n", "¦exercise: small-tank\n", "",
     "'title' is missing here. Add it."),
    ("version: 1", "version: 1\n¦titel: Small", "titel",
     "'titel' is not known here. Did you mean 'title'?"),
    ("version: 1", "version: ¦one", "version",
     "'one' can't stand here. It should be a valid integer."),
    ("title: Small tank", "title: ¦12", "title",
     "A text stands here. Put it into quotes if it looks like a number."),
    ("statement: |\n  Fill the tank.", "statement: '¦'", "statement",
     "The text should have at least 1 character."),
    ("exercise: small-tank", "exercise: ¦big-tank", "exercise",
     "The folder is 'small-tank'. Name both alike: lower case, digits and '-'."),
    ("- {tag: LSH-203, vessel: tank, height: 800 mm}", "¦tag: LSH-203", "plant.tank.level switches",
     "A list stands here: one line for each part, beginning with '-'."),
    ("- {tag: LSH-203, vessel: tank, height: 800 mm}", "- ¦LSH-203", "plant.tank.level switches.1",
     "Keys with values stand here, like 'title: Apple wash sump'."),
    ("outcomes: [seal-in]", "outcomes: [seal-in]\n    ¦text: Again.", "requirements.1.text",
     "'text' stands here twice."),
    # parameters
    ("version: 1", "parameters: [{name: ¦Soak, from: 1 s, to: 2 s, step: 1 s}]",
     "parameters.1.name", "'Soak' is no name of a parameter. Write it like fill_time."),
    ("version: 1", "parameters:\n  - ¦{name: a, from: 1 s, to: 2 mm, step: 1 s}", "parameters.1",
     "'from', 'to' and 'step' have different kinds of unit. Use one of them."),
    ("version: 1", "parameters:\n  - ¦{name: a, from: 2 s, to: 1 s, step: 1 s}", "parameters.1",
     "'to' is more than 'from', and 'step' more than nothing."),
    ("version: 1", "parameters:\n  - ¦{name: a, from: 1 s, to: 2 s, step: 300 ms}", "parameters.1",
     "Steps that begin at 'from' do not arrive at 'to'. Change one of them."),
    ("version: 1", "parameters:\n  - ¦{name: a, from: 1 s, to: 2 s, step: 1 ms}", "parameters.1",
     "These are more than 1000 values. Take a larger step."),
    ("version: 1", "parameters:\n  - ¦{name: a, from: 1 kg, to: 2 kg, step: 1 kg}", "parameters.1",
     "'kg' is no unit."),
    ("version: 1", "parameters:\n  - {name: a, from: 1, to: 2, step: 1}\n"
     "  - {name: ¦a, from: 1, to: 2, step: 1}", "parameters.2.name", "a stands here twice."),
    ("title: Small tank\nversion: 1",
     "title: ¦Tank <a>\nparameters: [{name: a, from: 1, to: 2, step: 1}]", "title",
     "This is the same for everybody: no parameter stands here."),
    ("version: 1\nsummary: A pump with start and stop.\noutcomes:\n"
     "  seal-in: Program a seal-in circuit.\nstatement: |\n  Fill",
     "parameters: [{name: a, from: 1, to: 2, step: 1}]\nsummary: A pump with start and stop.\n"
     "outcomes:\n  seal-in: Program a seal-in circuit.\nstatement: |\n  Fill <a> and ¦<b> in",
     "statement", "There is no parameter 'b'. There are a."),
    # points
    ("symbol: tank_high", "symbol: ¦start_pb", "points.3.symbol", "The symbol start_pb is taken."),
    ("symbol: tank_high", "symbol: ¦tank high", "points.3.symbol",
     "'tank high' can't be a symbol. Write a letter first, then letters, digits and single "
     "underscores."),
    ('"%IX0.2"', '"¦%IX0.1"', "points.3.address", "The address %IX0.1 is taken."),
    ('"%IX0.2"', '"¦%IX0.9"', "points.3.address",
     "The bit number in %IX0.9 is 9. A byte has the bits 0 to 7."),
    ('"%IX0.2"', '"¦%QX0.2"', "points.3.address",
     "A level switch is an input. Its address begins with %I."),
    ("device: LSH-203", "device: ¦HS-203", "points.3.device",
     "The tag of a level switch begins with LSL or LSH or LSLL or LSHH, as in LSL-201."),
    ("device: LSH-203", "device: ¦LSH-209", "points.3.device",
     "The plant has no level switch LSH-209. It has LSH-203."),
    ("kind: level switch", "kind: ¦float", "points.3.kind",
     f"'float' is no device. Known are {', '.join(KINDS)}."),
    ("wiring: normally closed", "wiring: ¦closed", "points.2.wiring",
     "'closed' can't stand here. Known are 'normally open' or 'normally closed'."),
    ("{symbol: stop_pb, address: \"%IX0.1\", device: HS-202, kind: push-button,\n     "
     "wiring: normally closed,",
     "¦{symbol: stop_pb, address: \"%IX0.1\", device: HS-202, kind: push-button,", "points.2",
     "'wiring' is missing here. Write normally open or normally closed."),
    ('"%MX0.0"', '"¦%QX0.5"', "internal bits.1.address",
     "An internal bit's address begins with %MX, as in %MX0.0."),
    # plant
    ("area: 0.5 m²", "area: ¦0.5", "plant.tank.vessels.1.area",
     "The area 0.5 has no unit. Write it with its unit, like '0.8 m²'."),
    ("rate: 5 l/s", "rate: ¦5 mm", "plant.tank.streams.1.rate",
     "'mm' is no unit of a flow. The units are l/s, l/min, m³/h."),
    ("- {name: tank, area: 0.5 m²", "- ¦{name: tank, area: 0 m²", "plant.tank.vessels.1",
     "tank: the area must be more than zero, not 0."),
    ("vessels:\n      - {name: tank,", "¦vessels:\n      - {name: vat,", "plant.tank",
     "water: no vessel tank."),
    ("  tank:\n    vessels", "  ¦conveyer:\n    vessels", "plant.conveyer",
     "'conveyer' is not known here. Did you mean 'conveyor'?"),
    ("version: 1", "version: 1\nscan period: ¦0 ms", "scan period",
     "A scan takes 1 ms to 1000 ms."),
    # observer
    ("long(PT := T#5s)", "¦lang(PT := T#5s)", "observer",
     "lang is not declared. Declare it, or use long."),
    ("late := fill_pump", "late := ¦fill_pumps", "observer",
     "There is no signal 'fill_pumps'. Did you mean 'fill_pump'?"),
    ("late := fill_pump", "late := ¦tank.level > 5", "observer",
     "tank.level is measured; an observer can't compare it. Do so in a check."),
    ("late : BOOL;", "late : ¦BOOLEAN;", "observer",
     "The type 'BOOLEAN' is not known. The types are BOOL, INT, TIME, WORD, TON, TOF, TP, CTU, "
     "CTD, CTUD, R_TRIG, F_TRIG, SR, RS."),
    ("late : BOOL;", "late : BOOL;\n    ¦fill_pump : BOOL;", "observer",
     "fill_pump is a signal of the machine already. Choose another symbol."),
    ("long : TON;", "long : TON;\n    ¦x AT %IX0.0 : BOOL;", "observer",
     "x has an address; the observer has no points. Declare it without AT."),
    # requirements
    ("id: R2", "id: ¦R1", "requirements.2.id", "'R1' stands here twice."),
    ("id: R2", "id: ¦2", "requirements.2.id",
     "A text stands here. Put it into quotes if it looks like a number."),
    ("id: R2", "id: ¦Q2", "requirements.2.id", "'Q2' is no requirement. Write it like R1 or R2a."),
    ("kind: stated", "kind: ¦said", "requirements.1.kind",
     "'said' can't stand here. Known are 'stated', 'implied', 'structure' or 'documentation'."),
    ("outcomes: [seal-in]", "outcomes: [¦sealing]", "requirements.1.outcomes.1",
     "There is no outcome 'sealing'."),
    ("AND stop_pb\n", "AND ¦stop_bp\n", "requirements.1.checks.1.whenever",
     "There is no signal 'stop_bp'. Did you mean 'stop_pb'?"),
    ("RISING(start_pb) AND", "RISING(start_pb) ¦BUT", "requirements.1.checks.1.whenever",
     "Expected AND, OR or the end, found 'BUT'."),
    ("then: fill_pump", "then: ¦long(PT := T#1s)", "requirements.1.checks.1.then",
     "The block long stands in a condition. Call it in the observer and name its output here."),
    ("tank.level >= 900", "¦tank.level = 900", "requirements.1.checks.1.unless",
     "tank.level is measured and hardly ever equal. Use >=, >, < or <=."),
    ("tank.level >= 900", "¦tank.level", "requirements.1.checks.1.unless",
     "tank.level is a number. Compare it, as in 'tank.level > 5'."),
    ("within: 50 ms", "within: ¦50", "requirements.1.checks.1.within",
     "The duration 50 has no unit. Write it with its unit, like '100 ms'."),
    ("- whenever: RISING(start_pb) AND stop_pb\n        then: fill_pump\n        within: 50 ms\n",
     "- ¦whenever: RISING(start_pb) AND stop_pb\n        then: fill_pump\n",
     "requirements.1.checks.1", "'within' is missing here. Add it."),
    ("- whenever: RISING", "- ¦wherever: RISING", "requirements.1.checks.1",
     "A check has one of the keys always, lasts, never, only, steady, uses, whenever."),
    ("- {lasts: fill_pump, at least: 100 ms, at most: 1 min}", "- ¦{lasts: fill_pump}",
     "requirements.1.checks.2", "'at least' or 'at most' is missing here. Add one or both."),
    ("at least: 100 ms, at most: 1 min", "at least: ¦100 ms, at most: 10 ms",
     "requirements.1.checks.2.at least", "It is longer than 'at most'."),
    ("uses: seal-in,", "uses: ¦sealing,", "requirements.2.checks.1.uses",
     "There is no rule 'sealing'. The rules are element, no element, set-reset pair, internal bit, "
     "seal-in, one coil, driven by, comment on every rung, name for every point, rung for every "
     "requirement."),
    ("of: fill_pump}", "of: ¦pump}", "requirements.2.checks.1.of",
     "'pump' is not known here. Known are start_pb, stop_pb, tank_high, fill_pump, filling."),
    ("{uses: seal-in, of: fill_pump}", "¦{never: tank_high, given: start_pb}",
     "requirements.2.checks.1", "A requirement of kind structure has a rule: write 'uses'."),
    # scenarios
    ("judges: [R1]", "judges: [¦R7]", "scenarios.1.judges.1", "There is no requirement 'R7'."),
    ("start: {tank.level: 300 mm}", "start: {¦tank.depth: 300 mm}", "scenarios.1.start.tank.depth",
     "'tank.depth' can't be set. Name a quantity of the plant, 'power' or a control: start_pb, "
     "stop_pb."),
    ("start: {tank.level: 300 mm}", "start: {tank.level: ¦full}", "scenarios.1.start.tank.level",
     "'full' is no length. Write it with its unit, like '300 mm'."),
    ("start: {tank.level: 300 mm}", "start: {stop_pb: ¦pressed}", "scenarios.1.start.stop_pb",
     "stop_pb can be set to 'on' or 'off'."),
    ("tap: start_pb", "tap: ¦start", "scenarios.1.steps.1.tap.1",
     "The panel has no 'start'. It has start_pb, stop_pb."),
    ("tap: start_pb", "fault: {stop_pb: ¦welded}", "scenarios.1.steps.1.fault.stop_pb",
     "stop_pb can't have the fault 'welded'. Its faults are stuck on, stuck off, broken wire."),
    ("tap: start_pb", "fault: {¦stop: welded}", "scenarios.1.steps.1.fault.stop",
     "There is no point 'stop' that can have a fault."),
    ("tap: start_pb", "¦put: [{at: 1 m}]", "scenarios.1.steps.1.put",
     "No items travel in this plant. Leave it out."),
    ("{when: tank_high, within: 2 min,", "{¦when: tank_high,", "scenarios.1.steps.2.when",
     "'within' is missing beside 'when'."),
    ("{when: tank_high, within: 2 min,", "{when: tank_high, ¦after: 1 s, within: 2 min,",
     "scenarios.1.steps.2.after", "A step has 'after' or 'when', not both."),
    ("when: tank_high", "when: ¦tank_hihg", "scenarios.1.steps.2.when",
     "There is no signal 'tank_hihg'. Did you mean 'tank_high'?"),
    ("- {after: 1 s,", "¦- {after: 2 h,", "scenarios.1.steps",
     "The scenario may last 122 min; 60 min are possible. Shorten its steps."),
    ("outcomes: [seal-in]", f"outcomes: ¦{['seal-in'] * 101}", "requirements.1.outcomes",
     "The list should have at most 100 items, not 101."),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "field", "sentence"), FAULTS, ids=[f"{f[2]}-{i}" for i, f in enumerate(FAULTS)]
)
def test_a_fault_is_told_with_its_place(old: str, new: str, field: str, sentence: str) -> None:
    assert old in TEXT, "the fault can be put in"
    marked = TEXT.replace(old, new, 1)
    *above, line = marked[: marked.index("¦")].split("\n")
    with pytest.raises(FileFault) as refused:
        built(marked.replace("¦", ""))
    place = f"{len(above) + 1}:{len(line) + 1}"
    assert str(refused.value) == f"exercise.yaml:{place}: {field and field + ': '}{sentence}"


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("title: Small tank", "title: ''", "title"),
        ("within: 50 ms", "within: soon", "requirements.1.checks.1.within"),
        ("after: 1 s", "after: soon", "scenarios.1.steps.1.after"),
        ("title: Small tank", "title: Small tank\ncolor: blue", "color"),
    ],
)
def test_a_fault_of_form_hides_no_other(old: str, new: str, field: str) -> None:
    """Remedy: all that is wrong is told at once, not one stage after the other."""
    text = TEXT.replace("when: tank_high", "when: tank_hihg").replace(old, new, 1)
    with pytest.raises(FileFault) as refused:
        built(text)
    assert {fault.field for fault in refused.value.faults} == {field, "scenarios.1.steps.2.when"}


def test_what_drives_a_part_is_told_at_its_field() -> None:
    with pytest.raises(FileFault) as refused:
        built(TEXT.replace("actuator: fill_pump", "actuator: fill_pumpp"))
    (fault,) = refused.value.faults
    assert fault.field.startswith("plant.")
    assert fault.field.endswith("streams.1.actuator")


def test_shipped_exercises_stand_in_teaching_order() -> None:
    shipped = Catalogue(EXERCISES).shipped()
    assert [each.teaching_order for each in shipped] == list(range(1, len(shipped) + 1))
