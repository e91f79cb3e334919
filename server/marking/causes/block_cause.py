"""Why a function block's output has its value: one sentence, and where to go on."""

from dataclasses import dataclass

from server.ladder.elements import BLOCK_TYPES, BlockFamily
from server.ladder.program import Block, Name
from server.marking.causes.cause_words import became
from server.marking.causes.conduction import Conduction, run_start


@dataclass(frozen=True, slots=True)
class BlockCause:
    """The sentence, the scan it speaks of, and the operand that did it (None: the power)."""

    text: str
    scan: int
    operand: str | None = None


def block_cause(
    conduction: Conduction, symbol: str, seen_in: int, changed: int | None
) -> BlockCause:
    """Explain the output ``symbol`` (``delay.q``) as it is in scan ``seen_in``.

    ``changed`` is the scan in which it took that value, None if it has always had it.
    """
    instance, _, pin = symbol.partition(".")
    kind = conduction.variables[instance].type
    match BLOCK_TYPES[kind].family:
        case BlockFamily.TIMER:
            return _timer(conduction, instance, kind, seen_in, changed if pin == "q" else None)
        case BlockFamily.COUNTER:
            return _counter(conduction, instance, kind, seen_in)
        case BlockFamily.EDGE_DETECTOR | BlockFamily.BISTABLE as family:
            return _memory(conduction, symbol, family, seen_in, changed)


def _timer(
    conduction: Conduction, instance: str, kind: str, seen_in: int, changed: int | None
) -> BlockCause:
    """Return a timer at the last change of its Q, or (``changed`` is None) as it runs or rests."""
    at = seen_in if changed is None else changed
    outputs = conduction.history.values[f"{instance}.q"]
    power = conduction.power_into(conduction.blocks[instance][0])
    q = bool(outputs[at])
    pulse_ended = kind == "TP" and not q and changed is not None
    since = run_start(outputs, at - 1) if pulse_ended and at else run_start(power, at)
    when, then = conduction.time(at), conduction.time(since)
    if changed is None and not q:
        how = "is still timing: power has reached it" if power[at] else "has had no power"
        text = f"{instance} {how} since {then}."
    elif kind == "TON" and q:
        text = f"{instance} ran out at {when}: power has reached it since {then}."
    elif pulse_ended:
        text = f"The pulse of {instance} ended at {when}; it began at {then}."
    elif kind == "TOF" and not q:
        text = f"{instance} ran out at {when}: power left it at {then}."
    else:
        did = "reached" if power[since] else "left"
        text = f"{instance} {became('ON' if q else 'OFF')} as power {did} it at {then}."
    return BlockCause(text, since)


def _counter(conduction: Conduction, instance: str, kind: str, seen_in: int) -> BlockCause:
    """Return a counter at the last change of its number."""
    spot, block = conduction.blocks[instance]
    counts = conduction.history.values[f"{instance}.cv"]
    at = run_start(counts, seen_in)
    before = int(counts[at - 1]) if at else 0
    text = f"{instance} has stood at {int(counts[at])} since {conduction.time(at)}"
    for pin, did in (("R", "reset"), ("LD", "loaded")):
        name = _operand(block, pin)
        if name is not None and conduction.read(name, at, conduction.positions[spot]):
            return BlockCause(f"{text}: {name} {did} it.", at, name)
    if counts[at] == before:
        return BlockCause(f"{instance} has counted nothing {conduction.always()}.", seen_in)
    down = _operand(block, "CD")
    if kind == "CTUD" and counts[at] < before and down is not None:
        return BlockCause(f"{text}: {down} counted down.", at, down)
    return BlockCause(f"{text}, when power came to it.", at)


def _memory(
    conduction: Conduction, symbol: str, family: BlockFamily, seen_in: int, changed: int | None
) -> BlockCause:
    """Edge detectors and bistables."""
    spot, block = conduction.blocks[symbol.partition(".")[0]]
    at = seen_in if changed is None else changed
    q = bool(conduction.history.values[symbol][at])
    when = conduction.time(at)
    reset = _operand(block, "R") or _operand(block, "R1")
    if reset is not None and not q and changed is not None:
        return BlockCause(f"{block.instance} was reset at {when} by {reset}.", at, reset)
    told = "ON" if q else "OFF"
    did = f"is {told}" if changed is None else f"{became(told)} at {when}"
    if family is BlockFamily.EDGE_DETECTOR and not q and changed is not None:
        return BlockCause(f"{block.instance} {did}: the edge lasts one scan.", at)
    power = "reached it" if conduction.power_into(spot)[at] else "did not reach it"
    return BlockCause(f"{block.instance} {did}: power {power}.", at)


def _operand(block: Block, pin: str) -> str | None:
    """Return the lower-case name on one of a block's pins."""
    for wired in block.inputs:
        if wired.pin == pin and isinstance(wired.operand, Name):
            return wired.operand.symbol.lower()
    return None
