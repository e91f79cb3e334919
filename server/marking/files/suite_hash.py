"""The hash that names a suite: equal hashes mean that the same things are judged alike."""

import hashlib

from server.marking.check import Check
from server.marking.exercise import TOLERANCE_MS, Exercise
from server.plant.plant import PART_KINDS, Plant

_TANK = {
    "vessels": "vessels",
    "streams": "streams",
    "outlets": "outlets",
    "switches": "level_switches",
    "transmitters": "level_transmitters",
    "axes": "axes",
    "positions": "position_switches",
}
_CONVEYOR = ("feeder", "eyes", "stops", "pushers", "axes")


class _Plain(str):
    """A text that stands for itself in a representation."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


def suite_hash(exercise: Exercise) -> str:
    """64 hexadecimal digits over all that decides a verdict.

    Texts that only people read (labels, statement, outcomes) do not count.
    """
    decisive = (
        exercise.period_ms,
        [(p.symbol, p.address, p.device, p.wiring, p.description) for p in exercise.points],
        [(b.symbol, b.address) for b in exercise.internal_bits],
        _Plain(_plant_text(exercise.plant)),
        exercise.observer.variables,
        [(rung.network, rung.outputs) for rung in exercise.observer.rungs],
        [(r.id, r.weight, [_check_parts(c) for c in r.checks]) for r in exercise.requirements],
        [(s.name, s.steps, s.start, s.judges, s.run_on_ms) for s in exercise.scenarios],
    )
    left_open = ([(f.outputs, f.when) for f in exercise.free], exercise.tolerance_ms)
    # An exercise that says nothing of it keeps the hash that it had before it could be said.
    said = left_open != ([], TOLERANCE_MS)
    # Checks, frozen dataclasses, numbers and texts are represented alike on every machine.
    text = repr((*decisive, *left_open) if said else decisive)
    return hashlib.sha256(text.encode()).hexdigest()


def _check_parts(check: Check) -> tuple[object, ...]:
    """Return what decides of a check. One that follows from nothing keeps the hash it had."""
    return (check, check.scenarios, *([check.follows] if check.follows else ()))


def _plant_text(plant: Plant) -> str:
    """Return a plant as text. Those of a tank or a conveyor alone keep the text they always had.

    The random runs of a mark are seeded by the hash, so that another text is another verdict.
    """
    used = {name for name in PART_KINDS if getattr(plant, name)}
    if plant.vessels and used <= set(_TANK.values()):
        parts = ", ".join(f"{old}={getattr(plant, name)!r}" for old, name in _TANK.items())
        return f"TankPlant({parts})"
    if plant.line and used <= {"belts", "line", "position_switches", *_CONVEYOR}:
        line = plant.line
        parts = ", ".join(f"{name}={getattr(plant, name)!r}" for name in _CONVEYOR)
        return (
            f"ConveyorPlant(name={line.name!r}, belts={plant.belts!r}, "
            f"item_length={line.item_length!r}, gap={line.gap!r}, item={line.item!r}, "
            f"mark={line.mark!r}, {parts}, positions={plant.position_switches!r})"
        )
    return repr(plant.parts)
