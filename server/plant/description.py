"""A plant in sentences: what a drawing shows, for those who do not see it."""

from collections.abc import Mapping

from server.plant.model import ConveyorPlant, Drawn, Outlet, Plant, Stream, TankPlant


def describe_plant(plant: Plant, symbols: Mapping[str, str]) -> str:
    """All parts in order. ``symbols`` are those of input points by their device's tag."""
    sentences = (
        list(_conveyor(plant, symbols))
        if isinstance(plant, ConveyorPlant)
        else list(_tank(plant, symbols))
    )
    for axis in plant.axes:
        back = f"back by {axis.back}" if axis.back else "back by a spring"
        places = [
            f"{_sensor(s.tag, symbols)} at {s.at:g} %"
            for s in plant.positions
            if s.axis == axis.name
        ]
        watched = f" Position switches: {', '.join(places)}." if places else ""
        sentences.append(f"{axis.label or axis.name}: forward by {axis.forward}, {back}.{watched}")
    return " ".join(sentences)


def _tank(plant: TankPlant, symbols: Mapping[str, str]) -> list[str]:
    labels = {v.name: v.label or v.name for v in plant.vessels}
    sentences = [
        f"{v.label or v.name}: {v.height:g} m high, {v.area:g} m², filled to {v.start_level:g} m."
        for v in plant.vessels
    ]
    parts: tuple[Stream | Outlet, ...] = (*plant.streams, *plant.outlets)
    for part in parts:
        source = part.source if isinstance(part, Stream) else part.vessel
        kind = "Pump" if isinstance(part, Stream) and part.drawn is Drawn.PUMP else "Valve"
        worked = part.actuator or "by hand"
        begin = labels[source] if source else "outside"
        end = labels[part.target] if part.target else "outside"
        sentences.append(f"{kind} {part.tag} ({worked}) from {begin} to {end}.")
    for switch in plant.switches:
        sentences.append(
            f"Level switch {_sensor(switch.tag, symbols)} in {labels[switch.vessel]} "
            f"at {switch.height:g} m."
        )
    for transmitter in plant.transmitters:
        device = _sensor(transmitter.tag, symbols)
        sentences.append(f"Level transmitter {device} on {labels[transmitter.vessel]}.")
    return sentences


def _conveyor(plant: ConveyorPlant, symbols: Mapping[str, str]) -> list[str]:
    sentences = [
        f"Belt {belt.tag} ({belt.actuator or 'by hand'}), {belt.length:g} m long, "
        f"from {plant.begin_of(belt):g} m, {belt.speed:g} m/s."
        for belt in plant.belts
    ]
    sentences.append(f"Each {plant.item} is {plant.item_length:g} m long.")
    for eye in plant.eyes:
        only = f", for each {plant.mark or 'marked item'} only" if eye.marked_only else ""
        sentences.append(f"Photo-eye {_sensor(eye.tag, symbols)} at {eye.at:g} m{only}.")
    for stop in plant.stops:
        state = "on" if stop.holds_when else "off"
        sentences.append(f"Stop {stop.tag} at {stop.at:g} m holds while {stop.by} is {state}.")
    for pusher in plant.pushers:
        sentences.append(f"Pusher {pusher.tag} ({pusher.by}) at {pusher.at:g} m.")
    return sentences


def _sensor(tag: str, symbols: Mapping[str, str]) -> str:
    return f"{tag} ({symbols[tag]})" if tag in symbols else tag
