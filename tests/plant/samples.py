"""What the tests of each kind of part offer to the tests that hold for all of them.

``tests/plant/parts/test_<part>.py`` has ``SAMPLE``, a plant in which the part does its work, and
``PLAIN``, the plain twins of physics instructions that only this part uses.
"""

from importlib import import_module
from types import ModuleType

from server.plant.part import Part
from server.plant.physics import PhysicsOp
from server.plant.plant import PART_KINDS, Plant
from tests.plant.plain_physics import SHARED, PlainOp


def _tests_of(kind: type[Part]) -> ModuleType:
    name = kind.__module__.rpartition(".")[2]
    return import_module(f"tests.plant.parts.test_{name}")


SAMPLES: dict[type[Part], Plant] = {k: _tests_of(k).SAMPLE for k in PART_KINDS.values()}

PLAIN_OPS: dict[PhysicsOp, PlainOp] = SHARED | {
    op: plain
    for kind in PART_KINDS.values()
    for op, plain in getattr(_tests_of(kind), "PLAIN", {}).items()
}
assert set(PLAIN_OPS) == set(PhysicsOp), "every instruction has a plain twin"
