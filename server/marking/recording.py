"""One scenario replayed with every element watched, for explanations."""

import numpy as np

from server.ladder.program import Program
from server.marking.exercise import Exercise
from server.marking.history import History, history_of, planes_to_record
from server.marking.machine import assemble
from server.marking.scenario import Scenario
from server.marking.timeline import timeline_of
from server.plant.loop import (
    code_of,
    fresh_memory,
    fresh_progress,
    record_signals,
    run,
    watch_planes,
)


def record_scenario(
    exercise: Exercise, program: Program, scenario: Scenario, scans: int
) -> History:
    """What the program did in the first ``scans`` scans of a scenario (fewer if it ends)."""
    assembled = assemble(exercise, program, observe=True)
    supply = assembled.plane("power")
    planes = planes_to_record(assembled.program, supply)
    record = record_signals(planes, [], 0, scans)
    timeline = timeline_of([scenario], assembled)
    done = run(
        code_of(assembled.machine),
        fresh_memory(assembled.machine),
        timeline,
        fresh_progress(timeline),
        watch_planes([]),
        record,
        assembled.running,
        scans,
    )
    bits = (record.bits[:done] & np.uint64(1)).astype(np.bool_)
    return history_of(assembled.program, supply, planes, bits, exercise.period_ms)
