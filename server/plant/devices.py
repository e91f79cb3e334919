"""The catalogue of devices: of the panel, of what parts of the plant sense, of actuators."""

from server.ladder.points import PointDeclaration
from server.plant.device_kind import DeviceKind, actuator, contact, display, lamp
from server.plant.plant import PART_KINDS

SWITCHING_MS = 10
"""How long a contactor or a solenoid takes to pick up or drop out (common practice, no source)."""

LAMP_COLORS = {"red": "RD", "yellow": "YE", "green": "GN", "blue": "BU", "white": "WH"}
"""The colors of lamps (IEC 60204-1), and the letters beside the symbol (IEC 60617; from memory)."""

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
        actuator("heater contactor", ("E",), "The heater heats while the point is on.",
                 SWITCHING_MS, ("heating", "off"), ("began to heat", "stopped heating")),
        actuator("solenoid valve", ("LV", "YV"), "The valve is open while the point is on.",
                 SWITCHING_MS, ("open", "closed"), ("opened", "closed")),
        lamp(),
        *map(lamp, LAMP_COLORS),
        actuator("horn", ("YA", "LA"), "Sounds while the point is on.", 0,
                 ("sounding", "silent"), ("began to sound", "fell silent")),
        display("number display", "Shows the number."),
        display("seven-segment display",
                "Shows the number in four digits, dashes for one that does not fit.", places=4),
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
