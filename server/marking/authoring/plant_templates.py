"""Plants to begin with: a plant, and points that fit it, as they stand in ``exercise.yaml``."""

from typing import Any

from server.ladder.points import Direction
from server.plant.devices import KINDS

Data = dict[str, Any]


def _point(symbol: str, address: str, device: str, kind: str, label: str, wiring: str = "") -> Data:
    row = {"symbol": symbol, "address": address, "device": device, "kind": kind}
    return row | ({"wiring": wiring} if wiring else {}) | {"label": label}


_OPEN, _CLOSED = "normally open", "normally closed"
_PANEL = [
    _point("start_pb", "%IX0.0", "HS-201", "push-button", "Start", _OPEN),
    _point("stop_pb", "%IX0.1", "HS-202", "push-button", "Stop", _CLOSED),
]

_FILLED_TANK: Data = {
    "vessels": [
        {"name": "tank", "area": "0.8 m²", "height": "1.5 m", "start level": "400 mm",
         "label": "Tank"}
    ],
    "streams": [
        {"name": "filling", "tag": "P-205", "rate": "6 l/s", "to": "tank",
         "actuator": "fill_pump", "label": "Fresh water"}
    ],
}  # fmt: skip
_CRATES: Data = {
    "name": "crates",
    "items": {"name": "crate", "length": "500 mm", "gap": "100 mm"},
    "belts": [
        {"name": "infeed", "tag": "M-305", "length": "4 m", "speed": "400 mm/s",
         "run up": "300 ms", "actuator": "infeed_motor", "label": "Infeed belt"}
    ],
    "feeder": {"interval": "4 s"},
}  # fmt: skip

TEMPLATES: dict[str, tuple[str, Data, list[Data]]] = {
    "filled tank": (
        "A tank, filled by a pump up to a switch",
        {
            "tank": {
                **_FILLED_TANK,
                "level switches": [{"tag": "LSH-203", "vessel": "tank", "height": "1.2 m"}],
            }
        },
        [
            *_PANEL,
            _point("tank_high", "%IX0.2", "LSH-203", "level switch", "Tank full", _OPEN),
            _point("fill_pump", "%QX0.0", "P-205", "contactor", "Fill pump"),
        ],
    ),
    "filled and drained tank": (
        "A tank with a fill pump, a drain valve and two switches",
        {
            "tank": {
                **_FILLED_TANK,
                "outlets": [
                    {"name": "drain", "tag": "LV-206", "from": "tank", "diameter": "50 mm",
                     "actuator": "drain_valve", "label": "Drain"}
                ],
                "level switches": [
                    {"tag": "LSH-203", "vessel": "tank", "height": "1.2 m"},
                    {"tag": "LSL-204", "vessel": "tank", "height": "300 mm"},
                ],
            }
        },
        [
            *_PANEL,
            _point("tank_high", "%IX0.2", "LSH-203", "level switch", "Tank full", _OPEN),
            _point("tank_low", "%IX0.3", "LSL-204", "level switch", "Low level covered", _OPEN),
            _point("fill_pump", "%QX0.0", "P-205", "contactor", "Fill pump"),
            _point("drain_valve", "%QX0.1", "LV-206", "solenoid valve", "Drain valve"),
        ],
    ),
    "conveyor with an eye": (
        "A belt with a feeder and an eye at its end",
        {
            "conveyor": {
                **_CRATES,
                "eyes": [{"tag": "YS-303", "at": "3.6 m"}],
            }
        },
        [
            *_PANEL,
            _point("end_eye", "%IX0.2", "YS-303", "photo-eye", "Crate at the end", _OPEN),
            _point("infeed_motor", "%QX0.0", "M-305", "contactor", "Infeed motor"),
        ],
    ),
    "conveyor with a gate": (
        "A belt with a feeder, an eye and a gate that holds items",
        {
            "conveyor": {
                **_CRATES,
                "eyes": [{"tag": "YS-303", "at": "2 m"}],
                "stops": [
                    {"name": "gate", "tag": "YV-304", "at": "2.2 m", "by": "gate_valve",
                     "holds when": "on", "label": "Gate"}
                ],
            }
        },
        [
            *_PANEL,
            _point("gate_eye", "%IX0.2", "YS-303", "photo-eye", "Crate at the gate", _OPEN),
            _point("infeed_motor", "%QX0.0", "M-305", "contactor", "Infeed motor"),
            _point("gate_valve", "%QX0.1", "YV-304", "solenoid valve", "Gate"),
        ],
    ),
}  # fmt: skip
"""By name: what it is, the plant, the points."""


def new_point(kind_name: str, points: list[Data]) -> Data:
    """Return a row for one more device of the catalogue, at the next free address and tag."""
    kind = KINDS[kind_name]
    area = "Q" if kind.direction is Direction.OUTPUT else "I"
    taken = {str(p.get("address")) for p in points if isinstance(p, dict)}
    free = (
        (f"%{area}W{n}" for n in range(100))
        if kind.number
        else (f"%{area}X{n // 8}.{n % 8}" for n in range(800))
    )
    address = next(each for each in free if each not in taken)
    tags = {str(p.get("device")) for p in points if isinstance(p, dict)}
    symbols = {str(p.get("symbol")) for p in points if isinstance(p, dict)}
    numbers = {tag.rpartition("-")[2] for tag in tags}
    number = next(n for n in range(201, 999) if str(n) not in numbers)
    stem = kind.name.replace("-", "_").replace(" ", "_")
    names = (f"{stem}_{n}" for n in range(1, 999))
    symbol = next(name for name in names if name not in symbols)
    wiring = _OPEN if kind.wirings else ""
    device = f"{kind.letters[0]}-{number}"
    return _point(symbol, address, device, kind.name, kind.name.capitalize(), wiring)
