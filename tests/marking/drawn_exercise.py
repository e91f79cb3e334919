"""An exercise with parameters, as small as one can be, and programs for any of its numbers."""

from pathlib import Path

SLUG = "late-lamp"

TEXT = """\
exercise: late-lamp
title: Late lamp
summary: A lamp that comes late.
scan period: 10 ms
parameters:
  - {name: delay, from: 0.5 s, to: 4 s, step: 250 ms}
  - {name: level, from: 300 mm, to: 700 mm, step: 50 mm}
statement: |
  The lamp YL-202 is lit once Start (HS-201) has been pressed for <delay>, at <level>.
points:
  - {symbol: start_pb, address: "%IX0.0", device: HS-201, kind: push-button,
     wiring: normally open, label: Start}
  - {symbol: lamp, address: "%QX0.0", device: YL-202, kind: lamp, label: Lamp}
plant:
  tank:
    vessels: [{name: tank, area: 0.5 m², height: 1 m, start level: <level>, label: Tank}]
observer: |
  VAR
    held : TON;
  END_VAR
  start_pb AND power AND held(PT := T#<delay - 50 ms in ms>ms);
requirements:
  - id: R1
    text: The lamp is lit once Start has been pressed for <delay>.
    kind: stated
    checks:
      - {whenever: start_pb AND power AND tank.level >= <level - 10 mm in mm>, held for: <delay>,
         then: lamp, within: 50 ms, unless: NOT start_pb OR NOT power,
         fails: the lamp was dark after <delay>., idle: Start was not held.}
      - {never: lamp AND NOT held.Q, given: start_pb, fails: the lamp was lit before <delay>.}
scenarios:
  - name: A long press
    steps:
      - {after: 500 ms, press: start_pb}
      - {after: <delay + 1 s>, release: start_pb}
"""

RUNG = "// [R1] Late.\nstart_pb AND timed(PT := T#{delay});\nlamp := timed.Q AND start_pb;"


def program(delay: str) -> str:
    """A program whose lamp comes after ``delay``, which may be a parameter."""
    rungs = RUNG.format(delay=delay)
    return (
        "PROGRAM late\nVAR\n  start_pb AT %IX0.0 : BOOL;\n  lamp AT %QX0.0 : BOOL;\n"
        f"  timed : TON;\nEND_VAR\n{rungs}\nEND_PROGRAM\n"
    )


def write(root: Path, programs: dict[str, str]) -> Path:
    """The exercise as a folder below ``root``."""
    folder = root / SLUG
    (folder / "programs").mkdir(parents=True)
    (folder / "exercise.yaml").write_text(TEXT, "utf-8")
    for name, text in programs.items():
        (folder / "programs" / name).write_text(text, "utf-8")
    return folder
