"""The catalogue of devices: of the panel, of what parts of the plant sense, of actuators."""

from server.ladder.points import Direction, PointDeclaration
from server.plant.device_kind import DeviceKind, actuator, contact
from server.plant.plant import PART_KINDS

SWITCHING_MS = 10
"""How long a contactor or a solenoid takes to pick up or drop out (common practice, no source)."""

KINDS: dict[str, DeviceKind] = {
    kind.name: kind
    for kind in (
        contact("push-button", ("HS",), "while it is pressed", by_hand=True,
                handled=("was pressed", "was released")),
        contact("emergency stop", ("HS",), "from when it is struck until it is pulled out",
                by_hand=True, maintained=True, handled=("was struck", "was pulled out")),
        contact("selector switch", ("HS",), "while it stands in this position",
                by_hand=True, maintained=True,
                handled=("was selected", "was no longer selected")),
        *(part.senses for part in PART_KINDS.values() if part.senses is not None),
        actuator("contactor", ("M", "P"), "The motor runs while the point is on.", SWITCHING_MS,
                 ("running", "stopped"), ("started", "stopped")),
        actuator("solenoid valve", ("LV", "YV"), "The valve is open while the point is on.",
                 SWITCHING_MS, ("open", "closed"), ("opened", "closed")),
        actuator("lamp", ("YL", "LL"), "Lit while the point is on.", 0,
                 ("lit", "dark"), ("came on", "went out")),
        actuator("horn", ("YA", "LA"), "Sounds while the point is on.", 0,
                 ("sounding", "silent"), ("began to sound", "fell silent")),
        DeviceKind("number display", ("LI", "YI"), Direction.OUTPUT, "Shows the number.",
                   number=True),
    )
}  # fmt: skip
"""The device catalogue by name. Letters: ISA-5.1-2009, table 4.1; those of motors, valves and
pumps are equipment tags (from memory)."""


def kind_of(point: PointDeclaration) -> DeviceKind:
    """Return the catalogue's row for a point: its ``description`` names it."""
    return KINDS[point.description]


def fault_names(point: PointDeclaration) -> tuple[str, ...]:
    """Return the control planes of a point's faults: ``fault.<symbol>.<kind>``."""
    return tuple(f"fault.{point.symbol}.{fault}" for fault in kind_of(point).faults)
