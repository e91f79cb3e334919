"""How alike the programs of a class are beyond what the exercise makes alike.

A rung is reduced to what it does: names go (points by address, others by type), the order of rungs
and of parallel branches goes, comments go. What many programs of the class have is forced by the
exercise and weighs little; a rung that only two have weighs much. What more than a few have as a
whole is a common solution, and none of their pairs is named.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log

from server.ladder.program import (
    AssignmentStatement,
    Block,
    Calculated,
    Coil,
    Comparison,
    Contact,
    Formula,
    Item,
    Name,
    Operand,
    Output,
    Parallel,
    Program,
    Rung,
)

COMMON = 3
"""So many programs of the classes of a pair may have all its rungs; what more have is a common
solution."""


@dataclass(frozen=True, slots=True)
class SimilarPair:
    """Two programs by their places; ``similarity`` 0 to 1, and the rungs in common.

    ``others`` counts the programs of their classes that have all these rungs, too. ``rungs`` has
    pairs of rung numbers from 0.
    """

    first: int
    second: int
    similarity: float
    others: int
    rungs: tuple[tuple[int, int], ...]


def reduced_rungs(program: Program) -> tuple[str, ...]:
    """Return what each rung does, as a text without names and without the order of branches."""
    names = {v.symbol: v.address or f"a {v.type}" for v in program.variables}
    return tuple(_rung(rung, names) for rung in program.rungs)


def similar_pairs(
    programs: Sequence[Program], classes: Sequence[int] = (), least: float = 0.6
) -> tuple[SimilarPair, ...]:
    """Return pairs whose similarity is ``least`` or more, the most alike first.

    ``classes`` says of which class each program is, those of the class in question first: of a
    pair, one program is of that class. All are of one class if it is left out. A solution that is
    handed on from term to term has few copies in each class, so only the two classes of a pair tell
    whether it is a common one.
    """
    classes = classes or [0] * len(programs)
    reduced = [reduced_rungs(program) for program in programs]
    bags = [Counter(rungs) for rungs in reduced]
    having = Counter(rung for bag in bags for rung in bag)
    weight = {rung: log(len(programs) / count) for rung, count in having.items()}
    found = []
    for i, j in combinations(range(len(programs)), 2):
        if classes[i] != classes[0]:
            break
        shared, either = bags[i] & bags[j], bags[i] | bags[j]
        total = _weigh(either, weight)
        similarity = _weigh(shared, weight) / total if total else 0.0
        if similarity < least:
            continue
        both = (classes[i], classes[j])
        with_all = sum(shared <= bags[k] for k, of in enumerate(classes) if of in both)
        if with_all <= COMMON:
            rungs = tuple(_common(reduced[i], reduced[j]))
            found.append(SimilarPair(i, j, similarity, with_all - 2, rungs))
    return tuple(
        sorted(found, key=lambda pair: (-pair.similarity, pair.others, pair.first, pair.second))
    )


def _weigh(bag: Counter[str], weight: Mapping[str, float]) -> float:
    return sum(weight[rung] * count for rung, count in bag.items())


def _common(first: Sequence[str], second: Sequence[str]) -> Iterator[tuple[int, int]]:
    free = list(range(len(second)))
    for i, rung in enumerate(first):
        match = next((j for j in free if second[j] == rung), None)
        if match is not None:
            free.remove(match)
            yield i, match


def _rung(rung: Rung, names: Mapping[str, str]) -> str:
    outputs = sorted(_output(output, names) for output in rung.outputs)
    return f"{_items(rung.network.items, names)} -> {', '.join(outputs)}"


def _items(items: Sequence[Item], names: Mapping[str, str]) -> str:
    return " AND ".join(_item(item, names) for item in items)


def _item(item: Item, names: Mapping[str, str]) -> str:
    match item:
        case Contact():
            return f"{item.kind.value} {names.get(item.symbol, item.symbol)}"
        case Comparison():
            left, right = _operand(item.left, names), _operand(item.right, names)
            return f"{left} {item.relation.value} {right}"
        case Block():
            pins = sorted(
                f"{pin.pin} {'NOT ' * pin.negated}{_operand(pin.operand, names)}"
                for pin in item.inputs
            )
            return f"{names.get(item.instance, item.instance)}({', '.join(pins)})"
        case Parallel():
            branches = sorted(_items(branch.items, names) for branch in item.branches)
            return f"({' OR '.join(branches)})"


def _operand(operand: Operand, names: Mapping[str, str]) -> str:
    if isinstance(operand, Name):
        return names.get(operand.symbol, operand.symbol)
    return str(operand)


def _output(output: Output, names: Mapping[str, str]) -> str:
    match output:
        case Coil():
            return f"{output.kind.value} {names.get(output.symbol, output.symbol)}"
        case AssignmentStatement():
            return f"{names.get(output.target, output.target)} := {_value(output.value, names)}"


def _value(value: Calculated, names: Mapping[str, str]) -> str:
    if not isinstance(value, Formula):
        return _operand(value, names)
    inner = (_value(operand, names) for operand in value.operands)
    return f"({value.operator.row.text.format(*inner)})"
