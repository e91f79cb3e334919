"""A complete exercise as small as one can be, for tests that break or vary it."""

from server.ladder.program import Program
from server.ladder.text_form import parse_program
from server.marking.exercise import Exercise
from server.marking.files.document import read_document
from server.marking.files.exercise_file import build_exercise

SLUG = "small-tank"

TEXT = """\
exercise: small-tank
title: Small tank
version: 1
summary: A pump with start and stop.
outcomes:
  seal-in: Program a seal-in circuit.
statement: |
  Fill the tank.
points:
  - {symbol: start_pb, address: "%IX0.0", device: HS-201, kind: push-button,
     wiring: normally open, label: Start}
  - {symbol: stop_pb, address: "%IX0.1", device: HS-202, kind: push-button,
     wiring: normally closed, label: Stop}
  - {symbol: tank_high, address: "%IX0.2", device: LSH-203, kind: level switch,
     wiring: normally open, label: Tank full}
  - {symbol: fill_pump, address: "%QX0.0", device: P-204, kind: contactor, label: Pump}
internal bits:
  - {symbol: filling, address: "%MX0.0", label: Filling}
plant:
  tank:
    vessels:
      - {name: tank, area: 0.5 m², height: 1 m, label: Tank}
    streams:
      - {name: water, tag: P-204, rate: 5 l/s, to: tank, actuator: fill_pump, label: Water}
    level switches:
      - {tag: LSH-203, vessel: tank, height: 800 mm}
observer: |
  VAR
    long : TON;
    late : BOOL;
  END_VAR
  // The pump has run for long.
  late := fill_pump AND long(PT := T#5s);
requirements:
  - id: R1
    text: Start starts the pump.
    kind: stated
    outcomes: [seal-in]
    checks:
      - whenever: RISING(start_pb) AND stop_pb
        then: fill_pump
        within: 50 ms
        unless: tank_high OR tank.level >= 900
      - {lasts: fill_pump, at least: 100 ms, at most: 1 min}
  - id: R2
    text: The program uses a seal-in circuit.
    kind: structure
    checks:
      - {uses: seal-in, of: fill_pump}
scenarios:
  - name: Start
    open: true
    judges: [R1]
    start: {tank.level: 300 mm}
    steps:
      - {after: 1 s, tap: start_pb}
      - {when: tank_high, within: 2 min, tap: stop_pb}
"""


def built(text: str = TEXT, slug: str = SLUG) -> Exercise:
    """The exercise of a text. Raises FileFault."""
    return build_exercise(read_document("exercise.yaml", text.encode()), slug)


def program(rungs: str, declarations: str = "") -> Program:
    """A program over the small exercise's points."""
    return parse_program(
        f"""PROGRAM small
        VAR
            start_pb AT %IX0.0 : BOOL;
            stop_pb AT %IX0.1 : BOOL;
            tank_high AT %IX0.2 : BOOL;
            pump AT %QX0.0 : BOOL;
            {declarations}
        END_VAR
        {rungs}
        END_PROGRAM
        """
    )
