"""Run the demo plants and print a hash of all that they compute: for runs in other modes.

``python -m tests.plant.digest``
"""

import hashlib

from numpy.random import default_rng

from server.plant.plant import Plant
from server.scan.lanes import LANES, plane_of
from tests.plant.demo_plants import BOTTLES, SUMP
from tests.plant.rig import Rig

SCANS = 120
PERIOD_MS = 100


def digest() -> str:
    """SHA-256 of planes and quantities while the plants are worked at random."""
    found = hashlib.sha256()
    plants: tuple[Plant, ...] = (SUMP, BOTTLES)
    for plant in plants:
        rng = default_rng(7)
        rig = Rig(plant, PERIOD_MS)
        for scan in range(SCANS):
            if scan % 10 == 0:
                for name in rig.actuators:
                    rig.turn(name, False)
                    rig.turn(name, True, plane_of(rng.random(LANES) < 0.6))
            rig.run()
        found.update(rig.bits.tobytes())
        found.update(rig.quantities.tobytes())
    return found.hexdigest()


if __name__ == "__main__":
    print(digest())
