"""A program together with the places in its text, so that any message can name its line."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from server.ladder.messages import Message, Place
from server.ladder.program import Program, Rung, walk


@dataclass(frozen=True, slots=True)
class RungSource:
    """A rung and where it, its elements (in the order of ``walk``) and its outputs begin."""

    rung: Rung
    start: Place
    elements: tuple[Place, ...]
    outputs: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """A program read from text, and where its declarations and rungs begin."""

    program: Program
    declarations: tuple[Place, ...]
    rungs: tuple[RungSource, ...]

    def locate(self, message: Message) -> Message:
        """Return the message with line and column of what it is about, if the text has that."""
        found = self._find(message.place)
        if found is None:
            return message
        place = replace(message.place, line=found.line, column=found.column)
        return replace(message, place=place)

    def locate_all(self, messages: Iterable[Message]) -> tuple[Message, ...]:
        return tuple(map(self.locate, messages))

    def _find(self, place: Place) -> Place | None:
        if place.rung is not None and place.rung < len(self.rungs):
            source = self.rungs[place.rung]
            if place.output is not None:
                return source.outputs[place.output]
            if place.path is not None:
                inside = len(place.path)
                paths = [path[:inside] for path, _ in walk(source.rung.network)]
                if place.path in paths:
                    return source.elements[paths.index(place.path)]
            return source.start
        symbols = [variable.symbol for variable in self.program.variables]
        if place.symbol in symbols:
            return self.declarations[symbols.index(place.symbol)]
        return None
