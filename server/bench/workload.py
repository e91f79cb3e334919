"""What ``bench`` runs: a shipped exercise's program and plant, with the panel worked at random."""

import random
from dataclasses import replace
from pathlib import Path

from server.ladder.points import Direction, PointDeclaration
from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.files.exercise_file import load_exercise
from server.marking.files.reference_programs import read_program
from server.marking.scenario import Scenario, Step, Turn
from server.paths import EXERCISES
from server.plant.devices import kind_of
from server.scan.lanes import LANES

MEASURED = ("apple-wash-sump", "clean-in-place-tank")
"""Slugs of the shipped exercises whose programs are measured: a short and a longer one."""


def tank_programs() -> list[tuple[Path, Path]]:
    """Folder and file of every right program of the measured exercises."""
    folders = [EXERCISES / slug for slug in MEASURED]
    return [(f, file) for f in folders for file in sorted((f / "programs").glob("right-*.st"))]


def workload(folder: Path, file: Path, minutes: int) -> tuple[Exercise, Program]:
    """Return a shipped exercise without its requirements, and one of its programs.

    64 scenarios of so many minutes; in each, other controls are pressed or turned every few
    seconds. Always the same ones.
    """
    shipped = load_exercise(folder)
    panel = [p for p in shipped.points if p.direction is Direction.INPUT and kind_of(p).by_hand]
    scenarios = tuple(_scenario(lane, panel, minutes) for lane in range(LANES))
    bare = replace(shipped, requirements=(), observer=Program("observer"), scenarios=scenarios)
    return bare, read_program(file, shipped)


def _scenario(lane: int, panel: list[PointDeclaration], minutes: int) -> Scenario:
    chance = random.Random(lane)
    steps: list[Step] = []
    passed = 0
    while passed < 60_000 * minutes:
        point = chance.choice(panel)
        control = f"panel.{point.symbol}"
        longest = 20_000 if kind_of(point).maintained else 1000
        wait, held = chance.randrange(1000, 12_000, 100), chance.randrange(100, longest, 100)
        steps += [Step((Turn(control, True),), wait), Step((Turn(control, False),), held)]
        passed += wait + held
    return Scenario(f"lane {lane}", tuple(steps))
