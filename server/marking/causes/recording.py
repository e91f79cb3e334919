"""One scenario replayed with every element watched, for explanations."""

import numpy as np

from server.ladder.program import Program
from server.marking.causes.history import History, history_of, planes_to_record
from server.marking.exercise import Exercise
from server.marking.machine import kept_frame
from server.marking.replay import trace
from server.marking.scenario import Scenario
from server.scan.assembler import Bit


def record_scenario(
    exercise: Exercise, program: Program, scenario: Scenario, scans: int
) -> History:
    """Return what the program did in the first ``scans`` scans of a scenario (fewer if it ends)."""
    assembled = kept_frame(exercise, None).assembled(program, observe=True)
    supply = assembled.plane("power")
    planes = planes_to_record(assembled.program, supply)
    traced = trace(assembled, scenario, {str(plane): Bit(plane) for plane in planes}, scans)
    bits = np.stack([traced.signals[str(plane)] for plane in planes], axis=1) > 0
    before = assembled.machine.initial[planes] != 0
    return history_of(assembled.program, supply, planes, bits, exercise.period_ms, before)
