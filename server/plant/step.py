"""The step of a plant in a machine: concrete, with quantities, or abstract, with their regions."""

from collections.abc import Collection, Mapping, Sequence

from server.plant.controls import HandSwitch
from server.plant.gauge import Gauge
from server.plant.plant import Plant
from server.plant.reading import TransmitterReading
from server.plant.site import Site
from server.plant.track import ItemRows
from server.scan.assembler import Assembler, Signal


class PlantStep:
    """A plant in one machine. First ask for senses and thresholds, then ``emit``.

    ``gauges``, ``senses``, ``readings``, ``items``, ``rates`` and ``edges``: see ``Site``. Raises
    ValueError with a sentence where the plant is too fast for the scan period.
    """

    def __init__(
        self,
        plant: Plant,
        asm: Assembler,
        *,
        abstract: bool = False,
        edges: Mapping[str, Collection[int]] | None = None,
    ) -> None:
        self._parts = plant.parts
        self.site = Site(plant, asm, abstract, edges or {})
        for part in self._parts:
            part.allocate(self.site)
        for control in plant.controls:
            if isinstance(control, HandSwitch):
                self.site.add_hand(control.name, control.on_at_start)

    @property
    def gauges(self) -> dict[str, Gauge]:
        """The quantities by name."""
        return self.site.gauges

    @property
    def senses(self) -> dict[str, Signal]:
        """What the plant actuates, by the device's tag."""
        return self.site.senses

    @property
    def readings(self) -> dict[str, TransmitterReading]:
        """The numbers of an abstract machine, by tag."""
        return self.site.readings

    @property
    def items(self) -> ItemRows | None:
        """Where the items of a concrete machine stand; None where nothing carries items."""
        return self.site.items

    @property
    def rates(self) -> set[str]:
        """The parameters of a concrete machine that a real plant may have otherwise."""
        return self.site.rates

    def planes_at(
        self, values: Mapping[str, float], items: Sequence[tuple[float, bool]] = ()
    ) -> dict[int, bool]:
        """Return the abstract planes while quantities stand at ``values``, others as at the start.

        ``items`` are front edges in m and marks.
        """
        planes: dict[int, bool] = {}
        for name, gauge in self.gauges.items():
            planes |= gauge.planes_at(values.get(name, gauge.start))
        for reading in self.readings.values():
            planes |= reading.planes_while(values)
        for part in self._parts:
            planes |= part.abstract_planes(self.site, values, items)
        return planes

    def permit_hand(self, hand: int, quantities: Collection[str], *, items: bool) -> None:
        """Let a hand do anything to some quantities, and to items, while the plane ``hand`` is on.

        For an abstract machine, before ``emit``.
        """
        for name in quantities:
            self.site.may_rise(name, hand)
            self.site.may_fall(name, hand)
        if items:
            self.site.hand_on_items = hand

    def emit(self, actuators: Mapping[str, int]) -> None:
        """Emit the plant's step after the output stage; ``actuators`` are planes by symbol."""
        self.site.actuators = actuators
        if self.site.abstract:
            self._emit_abstract()
        else:
            self._emit_concrete()

    def _emit_concrete(self) -> None:
        site = self.site
        with site.asm.physics_section("advance"):
            for part in self._parts:
                part.drive(site)
            for part in self._parts:
                part.move(site)
            for part in self._parts:
                part.take(site)
            for part in self._parts:
                part.exchange(site)
        with site.asm.physics_section("sense"):
            for gauge in site.gauges.values():
                gauge.measure()
            for part in self._parts:
                part.sense(site)

    def _emit_abstract(self) -> None:
        for part in self._parts:
            part.permit(self.site)
        self.site.emit_gauges()
