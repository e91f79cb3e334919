"""From wires to a tree: a rung given as connections becomes series and parallel again.

A *junction* is where the same outgoing ends are joined: the ends that one element is fed from. An
element is an edge from the junction that feeds it to each junction that its own end belongs to; a
junction that contains all ends of another one is joined to it by a plain wire. Edges in parallel
and in series are merged until one is left (series-parallel reduction; Valdes, Tarjan and Lawler,
SIAM J. Computing 11, 1982, from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.ladder.program import Element, Item, Parallel, Series, normal

Junction = frozenset[str]

_EDGES_EACH = 4


class NotSeriesParallel(ValueError):
    """The wires cross over: no series-parallel tree has these connections."""


@dataclass(frozen=True, slots=True)
class Fed:
    """An element, the ends that feed it in their order, and its own end."""

    element: Element
    ends: tuple[str, ...]
    own: str


@dataclass(slots=True)
class _Edge:
    """Parallel branches between two junctions, each with its place in the order of ends."""

    source: Junction
    target: Junction
    branches: list[tuple[int, Series]]

    @property
    def network(self) -> Series:
        """The branches from top to bottom."""
        ordered = sorted(self.branches, key=lambda branch: branch[0])
        if len(ordered) == 1:
            return ordered[0][1]
        return Series((Parallel(tuple(series for _, series in ordered)),))


def without_idle_wires(network: Series) -> Series:
    """Return the network with a wire beside what always conducts left out: it conducts the same."""
    items: list[Item] = []
    for item in network.items:
        if isinstance(item, Parallel):
            branches = tuple(without_idle_wires(branch) for branch in item.branches)
            wires = [i for i, branch in enumerate(branches) if not branch.items]
            idle = wires if any(b.items and _conducts(b) for b in branches) else wires[1:]
            kept = tuple(b for i, b in enumerate(branches) if i not in idle)
            items.append(Parallel(kept))
        else:
            items.append(item)
    simpler = normal(Series(tuple(items)))
    # A branch that has become a wire may now stand beside another one.
    return simpler if simpler == network else without_idle_wires(simpler)


def _conducts(network: Series) -> bool:
    """Return whether power passes by wires alone, whatever the elements do."""
    return all(
        isinstance(item, Parallel) and any(map(_conducts, item.branches)) for item in network.items
    )


def network_of(rail: str, elements: Sequence[Fed], last: tuple[str, ...]) -> Series:
    """Return the network from the left rail's end to the ends ``last`` that feed the outputs."""
    lists = {frozenset(fed.ends): fed.ends for fed in elements}
    lists[frozenset(last)] = last
    start, goal = frozenset({rail}), frozenset(last)
    lists.setdefault(start, (rail,))
    edges = _edges({fed.own: fed for fed in elements}, lists, start)
    return _reduced(edges, start, goal)


def _edges(
    made_by: Mapping[str, Fed], lists: Mapping[Junction, tuple[str, ...]], start: Junction
) -> list[_Edge]:
    edges: list[_Edge] = []
    placed: set[str] = set()
    for junction, ends in lists.items():
        if junction == start:
            continue
        rest = set(junction)
        inside = sorted((j for j in lists if j < junction), key=len, reverse=True)
        for part in inside:
            if new := part & rest:
                edges.append(_Edge(part, junction, [(min(map(ends.index, new)), Series())]))
                rest -= part
        for end in rest:
            if end not in made_by:
                raise NotSeriesParallel(f"nothing ends at {end}")
            if end in placed:
                raise NotSeriesParallel("an element would be drawn twice")
            placed.add(end)
            fed = made_by[end]
            source = frozenset(fed.ends)
            edges.append(_Edge(source, junction, [(ends.index(end), Series((fed.element,)))]))
        # A tree has an edge for each element, and for each of its parallels at most a wire as a
        # branch and one to the next junction. More would only take time to be found wrong.
        if len(edges) > _EDGES_EACH * (len(made_by) + 1):
            raise NotSeriesParallel("ends are joined in more ways than a tree has")
    return edges


def _reduced(edges: list[_Edge], start: Junction, goal: Junction) -> Series:
    if start == goal:
        if edges:
            raise NotSeriesParallel("an element leads nowhere")
        return Series()
    while True:
        merged = _merge_parallel(edges) or _merge_series(edges, start, goal)
        if not merged:
            break
    if len(edges) != 1 or (edges[0].source, edges[0].target) != (start, goal):
        raise NotSeriesParallel("the wires cross over")
    return edges[0].network


def _merge_parallel(edges: list[_Edge]) -> bool:
    """Merge two edges between one pair of junctions."""
    for i, edge in enumerate(edges):
        for other in edges[i + 1 :]:
            if (other.source, other.target) == (edge.source, edge.target):
                edges.remove(other)
                edge.branches += other.branches
                return True
    return False


def _merge_series(edges: list[_Edge], start: Junction, goal: Junction) -> bool:
    """Merge two edges at a junction that has no others."""
    for edge in edges:
        middle = edge.target
        if middle in (start, goal):
            continue
        coming = [e for e in edges if e.target == middle]
        going = [e for e in edges if e.source == middle]
        if len(coming) == len(going) == 1:
            [onward] = going
            edges.remove(edge)
            edges.remove(onward)
            items = (*edge.network.items, *onward.network.items)
            place = min(order for order, _ in onward.branches)
            edges.append(_Edge(edge.source, onward.target, [(place, Series(items))]))
            return True
    return False
