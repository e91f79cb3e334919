"""Proofs about a transmitter's number: exact where it is only compared, open where it is not."""

from operator import eq, ge, gt, le, lt, ne

from hypothesis import given, settings
from hypothesis import strategies as st

from server.ladder.edges import comparison_edges
from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.exercise import Exercise
from server.marking.files.document import read_document
from server.marking.files.exercise_file import build_exercise
from server.marking.proofs.abstract_machines import AbstractMachines
from server.marking.proofs.counterexample import Counterexample, replay_suspicion
from server.marking.proofs.proof import Outcome, Proof, prove
from server.plant.physics import ANALOG_TOP

TEXT = """\
exercise: day-tank
title: Day tank
summary: A pump that is told by a level transmitter.
outcomes: {limits: Compare a measured value with limits.}
statement: Keep the level.
points:
  - {symbol: fill_sel, address: "%IX0.0", device: HS-201, kind: selector switch,
     wiring: normally open, label: Fill}
  - {symbol: level, address: "%IW1", device: LT-202, kind: level transmitter, label: Level}
  - {symbol: fill_pump, address: "%QX0.0", device: P-203, kind: contactor, label: Fill pump}
plant:
  tank:
    vessels: [{name: tank, area: 0.1 m², height: 1 m, start level: 500 mm, label: Tank}]
    streams:
      - {name: water, tag: P-203, rate: 20 l/s, to: tank, actuator: fill_pump, label: Water}
      - {name: use, tag: LV-204, rate: 20 l/s, from: tank, drawn: valve, label: Use}
      - {name: by_hand, tag: LV-205, rate: 20 l/s, to: tank, drawn: valve, label: By hand}
    level transmitters: [{tag: LT-202, vessel: tank}]
observer: |
  VAR
    brim : BOOL;
  END_VAR
  // A limit that no program needs to know.
  brim := level >= 9500;
requirements:
  - id: R1
    text: The pump keeps within its limits.
    kind: stated
    outcomes: [limits]
    checks: [{never: "CONDITION", given: fill_pump}]
scenarios:
  - {name: Fill, open: true, steps: [{after: 1 s, turn on: fill_sel}]}
"""


def exercise(never: str) -> Exercise:
    text = TEXT.replace("CONDITION", never)
    return build_exercise(read_document("exercise.yaml", text.encode()), "day-tank")


def program(rungs: str, declarations: str = "") -> Program:
    return parse_program(
        f"""PROGRAM day_tank
        VAR
            fill_sel AT %IX0.0 : BOOL;
            height AT %IW1 : INT;
            fill_pump AT %QX0.0 : BOOL;
            {declarations}
        END_VAR
        {rungs}
        END_PROGRAM
        """
    )


def proved(never: str, rungs: str, declarations: str = "") -> tuple[Proof, Counterexample | None]:
    judged, written = exercise(never), program(rungs, declarations)
    proof = prove(AbstractMachines(judged, written), 0)
    if proof.suspicion is None:
        return proof, None
    return proof, replay_suspicion(judged, written, 0, proof.suspicion)


HYSTERESIS = """
    IF height < 3000 THEN filling := TRUE; END_IF;
    IF height >= 8000 THEN filling := FALSE; END_IF;
    fill_pump := fill_sel AND filling;
"""


def test_filling_between_two_limits_is_proved() -> None:
    proof, _ = proved("fill_pump AND level >= 8000", HYSTERESIS, "filling : BOOL;")
    assert proof.outcome is Outcome.PROVED
    proof, _ = proved("RISING(fill_pump) AND level > 7999", HYSTERESIS, "filling : BOOL;")
    assert proof.outcome is Outcome.PROVED


def test_a_limit_that_is_passed_is_found_and_shown_on_the_plant() -> None:
    proof, found = proved("fill_pump AND level >= 7000", HYSTERESIS, "filling : BOOL;")
    assert proof.outcome is Outcome.REFUTED
    assert found is not None
    waits = [step.when.text for step in found.scenario.steps if step.when is not None]
    assert waits == ["level < 3000", "level >= 7000"], "of several edges only the furthest"


def test_a_limit_of_the_observer_alone_is_told_apart() -> None:
    never, declared = "fill_pump AND brim", "filling : BOOL;"
    assert proved(never, HYSTERESIS, declared)[0].outcome is Outcome.PROVED
    proof, found = proved(never, "fill_pump := fill_sel;")
    assert proof.outcome is Outcome.REFUTED
    assert found is not None


def test_a_number_that_is_calculated_with_is_open() -> None:
    rungs = "IF TRUE THEN half := height / 2; END_IF; fill_pump := fill_sel AND half < 4000;"
    assert comparison_edges(program(rungs, "half : INT;"), "height") is None
    for limit in (7000, 8001):
        proof, _ = proved(f"fill_pump AND level >= {limit}", rungs, "half : INT;")
        assert proof.outcome is Outcome.OPEN


relations = st.sampled_from(["<", "<=", ">", ">=", "=", "<>"])
limits = st.tuples(
    relations, st.sampled_from([-1, 0, 1, 2500, 2501, 6000, 9499, 9500, 9999, 10000, 10001])
)
MEANT = {"<": lt, "<=": le, ">": gt, ">=": ge, "=": eq, "<>": ne}


@settings(deadline=None, max_examples=60)
@given(st.lists(limits, min_size=1, max_size=2), st.lists(limits, min_size=1, max_size=2))
def test_proved_exactly_when_no_number_does_it(
    pumped: list[tuple[str, int]], forbidden: list[tuple[str, int]]
) -> None:
    series = " AND ".join(f"height {relation} {value}" for relation, value in pumped)
    never = " AND ".join(f"level {relation} {value}" for relation, value in forbidden)
    possible = any(
        all(MEANT[relation](number, value) for relation, value in [*pumped, *forbidden])
        for number in range(ANALOG_TOP + 1)
    )
    proof, _ = proved(f"fill_pump AND {never}", f"fill_pump := {series};")
    assert proof.outcome is (Outcome.REFUTED if possible else Outcome.PROVED)
