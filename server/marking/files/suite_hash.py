"""The hash that names a suite: equal hashes mean that the same things are judged alike."""

import hashlib

from server.marking.exercise import TOLERANCE_MS, Exercise


def suite_hash(exercise: Exercise) -> str:
    """64 hexadecimal digits over all that decides a verdict.

    Texts that only people read (labels, statement, outcomes) do not count.
    """
    decisive = (
        exercise.period_ms,
        [(p.symbol, p.address, p.device, p.wiring, p.description) for p in exercise.points],
        [(b.symbol, b.address) for b in exercise.internal_bits],
        exercise.plant,
        exercise.observer.variables,
        [(rung.network, rung.outputs) for rung in exercise.observer.rungs],
        [(r.id, r.weight, [(c, c.scenarios) for c in r.checks]) for r in exercise.requirements],
        [(s.name, s.steps, s.start, s.judges, s.run_on_ms) for s in exercise.scenarios],
    )
    left_open = ([(f.outputs, f.when) for f in exercise.free], exercise.tolerance_ms)
    # An exercise that says nothing of it keeps the hash that it had before it could be said.
    said = left_open != ([], TOLERANCE_MS)
    # Checks, frozen dataclasses, numbers and texts are represented alike on every machine.
    text = repr((*decisive, *left_open) if said else decisive)
    return hashlib.sha256(text.encode()).hexdigest()
