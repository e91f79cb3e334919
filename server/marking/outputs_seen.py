"""What a program did instead, where a requirement was not reached."""

from collections.abc import Sequence

import numpy as np

from server.ladder.names import listed
from server.ladder.points import Direction
from server.marking.exercise import Exercise
from server.marking.machine import Assembled
from server.marking.phrases import counted
from server.marking.replay import NEVER, first_seen
from server.scan.assembler import Bit


def done_instead(exercise: Exercise, assembled: Assembled, scenarios: Sequence[int]) -> str:
    """Return which outputs the program turned on in these scenarios, by number, in a sentence."""
    outputs = {
        point.symbol: signal.plane
        for point in exercise.points
        if point.direction is Direction.OUTPUT
        and isinstance(signal := assembled.signals[point.symbol.lower()], Bit)
    }
    runs = [exercise.scenarios[number] for number in scenarios]
    seen = np.count_nonzero(first_seen(assembled, runs, list(outputs.values())) != NEVER, axis=1)
    never = [symbol for symbol, count in zip(outputs, seen, strict=True) if not count]
    often = [f"{symbol} in {count}" for symbol, count in zip(outputs, seen, strict=True) if count]
    parts = [f"never turned on {listed(never)}"] if never else []
    parts += [f"turned on {listed(often)}"] if often else []
    return f"In the {counted(len(runs), 'scenario')} for it your program {' and '.join(parts)}."
