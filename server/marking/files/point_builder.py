"""From the table of points to declarations that fit the device catalogue and the plant."""

from collections.abc import Iterable, Sequence
from typing import Any

from server.ladder.elements import ContactKind
from server.ladder.names import address_fault, shortened, symbol_fault
from server.ladder.points import Direction, PointDeclaration
from server.marking.files.document import Document, FieldPath
from server.marking.files.exercise_schema import BitPart, PointPart
from server.marking.files.plant_form import GROUPS
from server.plant.device_kind import DeviceKind
from server.plant.devices import KINDS
from server.plant.plant import Plant


class PointBuilder:
    """Builds points and internal bits; what is wrong is noted in the document."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._symbols: set[str] = set()
        self._addresses: set[str] = set()

    def points(self, parts: Sequence[PointPart]) -> tuple[PointDeclaration, ...]:
        return tuple(self._point(("points", i), part) for i, part in enumerate(parts))

    def internal_bits(self, parts: Sequence[BitPart]) -> tuple[PointDeclaration, ...]:
        return tuple(self._bit(("internal bits", i), part) for i, part in enumerate(parts))

    def _point(self, path: FieldPath, part: PointPart) -> PointDeclaration:
        point = PointDeclaration(
            part.symbol, part.address.upper(), part.device, part.label, description=part.kind
        )
        self._named(path, point)
        kind = KINDS.get(part.kind)
        if kind is None:
            self._document.fault(
                (*path, "kind"), f"{shortened(part.kind)} is no device. Known are {_list(KINDS)}."
            )
            return point
        letters = part.device.partition("-")[0]
        if letters not in kind.letters:
            self._document.fault(
                (*path, "device"),
                f"The tag of a {kind.name} begins with {' or '.join(kind.letters)}, "
                f"as in {kind.letters[0]}-201.",
            )
        if kind.direction is not point.direction:
            area = "I" if kind.direction is Direction.INPUT else "Q"
            self._document.fault(
                (*path, "address"),
                f"A {kind.name} is an {kind.direction}. Its address begins with %{area}.",
            )
        if part.wiring is not None and not kind.wirings:
            self._document.fault((*path, "wiring"), f"A {kind.name} has no wiring. Leave it out.")
        elif part.wiring is None and kind.wirings:
            wirings = " or ".join(kind.wirings)
            self._document.fault(path, f"'wiring' is missing here. Write {wirings}.")
        wiring = None if part.wiring is None else ContactKind(part.wiring)
        return PointDeclaration(
            *(part.symbol, point.address, part.device, part.label, wiring),
            resting=kind.resting(wiring),
            description=kind.name,
        )

    def _bit(self, path: FieldPath, part: BitPart) -> PointDeclaration:
        bit = PointDeclaration(part.symbol, part.address.upper(), "", part.label)
        self._named(path, bit)
        if bit.direction is not Direction.INTERNAL:
            self._document.fault(
                (*path, "address"), "An internal bit's address begins with %MX, as in %MX0.0."
            )
        return bit

    def _named(self, path: FieldPath, point: PointDeclaration) -> None:
        symbol, address = point.symbol, point.address
        if fault := symbol_fault(symbol):
            self._document.fault((*path, "symbol"), " ".join(fault))
        elif symbol != symbol.lower():
            self._document.fault((*path, "symbol"), f"Write {symbol} in lower case.")
        elif symbol in self._symbols:
            self._document.fault((*path, "symbol"), f"The symbol {symbol} is taken.")
        if fault := address_fault(address, point.type):
            self._document.fault((*path, "address"), " ".join(fault))
        elif address in self._addresses:
            self._document.fault((*path, "address"), f"The address {address} is taken.")
        self._symbols.add(symbol)
        self._addresses.add(address)


def note_loose_ends(document: Document, points: Sequence[PointDeclaration], plant: Plant) -> None:
    """Note sensors without a place in the plant, and parts of the plant that nothing drives."""
    for number, point in enumerate(points):
        kind = KINDS[point.description]
        if kind.direction is not Direction.INPUT or kind.by_hand:
            continue
        tags = _tags(plant, kind)
        if point.device not in tags:
            document.fault(
                ("points", number, "device"),
                f"The plant has no {kind.name} {point.device}. It has {_list(tags) or 'none'}.",
            )
    outputs = {p.symbol for p in points if p.direction is Direction.OUTPUT and p.type == "BOOL"}
    switches = {tag for each in plant.position_switches for tag in each.tags()}
    for part in plant.parts:
        for drive in part.drives():
            if drive.symbol not in (outputs | switches if drive.by_sensor else outputs):
                document.fault(
                    _field_of(document.data, part.names(), drive.symbol),
                    f"{_list(part.names())} is driven by {shortened(drive.symbol)}, which is no "
                    f"output point. Outputs are {_list(sorted(outputs))}.",
                )


def _field_of(data: Any, names: tuple[str, ...], symbol: str) -> FieldPath:
    """Return the field of the part with these names that names the symbol."""
    plant = data.get("plant")
    for place in (("plant",), *(("plant", group) for group in GROUPS)):
        lists = plant if len(place) == 1 else plant.get(place[1])
        for key, rows in lists.items() if isinstance(lists, dict) else ():
            for number, row in enumerate(rows if isinstance(rows, list) else ()):
                if isinstance(row, dict) and row.get("name") in names:
                    fields = [field for field, value in row.items() if value == symbol]
                    return (*place, key, number, *fields[:1])
    return ("plant",)


def _tags(plant: Plant, kind: DeviceKind) -> list[str]:
    """Return the tags of the plant's sensors of one kind."""
    return [tag for part in plant.parts if part.senses is kind for tag in part.tags()]


def _list(names: Iterable[str]) -> str:
    return ", ".join(names)
