"""What a part of a plant does unless it says otherwise: nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.plant.c_code import CCode
from server.plant.parts_view import Parts
from server.plant.site import Site


@dataclass(frozen=True, slots=True)
class Drive:
    """What works a part: the symbol of an output point, or also ``by_sensor`` a sensor's tag."""

    symbol: str
    by_sensor: bool = False


class PartHooks:
    """Where a part may join in.

    A machine is built in this order: ``allocate`` for all parts; then for a concrete machine
    ``drive``, ``move``, ``take``, ``exchange`` and ``sense``, for an abstract one ``permit``, each
    for all parts before the next.
    """

    __slots__ = ()

    def check(self, parts: Parts) -> None:
        """Raise ValueError with a sentence if it does not fit the other parts.

        Names of other parts (``VesselName``, ``AxisName``) have been checked before.
        """

    def drives(self) -> tuple[Drive, ...]:
        """Return what works it."""
        actuator = getattr(self, "actuator", None)
        return (Drive(actuator),) if actuator else ()

    # -- the concrete step --------------------------------------------------------------------

    def allocate(self, site: Site) -> None:
        """Allocate its quantities, planes and senses, in a concrete or an abstract machine."""

    def drive(self, site: Site) -> None:
        """Emit what it wants to move: flows, ways."""

    def move(self, site: Site) -> None:
        """Emit the change of its quantities by all that wants to move them."""

    def take(self, site: Site) -> None:
        """Emit what it takes out of the plant."""

    def exchange(self, site: Site) -> None:
        """Emit what leaves the plant by itself, and what enters it."""

    def sense(self, site: Site) -> None:
        """Emit what it senses."""

    # -- the abstract step --------------------------------------------------------------------

    def permit(self, site: Site) -> None:
        """Note where gauges may rise and fall (``Site.may_rise``); emit regions of its own."""

    def abstract_planes(
        self, site: Site, values: Mapping[str, float], items: Sequence[tuple[float, bool]]
    ) -> dict[int, bool]:
        """Return the planes of its own regions, beside gauges and readings.

        Quantities stand at ``values``; ``items``, front edges in m and marks, lie on the line.
        """
        return {}

    def stand_in(self, *, actuated: bool) -> Mapping[str, float]:
        """Return what a hand sets quantities to so that it is actuated, or is not.

        So a run of the abstract machine, in which a hand does that, is replayed on the concrete
        plant.
        """
        return {}

    # -- what it is measured against ----------------------------------------------------------

    def write_c(self, code: CCode) -> None:
        """Write its step as straight-line C. Raises ValueError where that is not provided for."""
        raise ValueError(f"{type(self).__name__} is not written as straight-line C.")
