"""Networks taken apart and put together again by path. Nothing here is in normal form yet.

The path of an item ends with its index in a series; the path of a branch ends with its number in a
parallel; the empty path is the network itself.
"""

from collections.abc import Callable
from typing import TypeAlias

from server.ladder.program import Element, Item, Parallel, Path, Series, walk

Items: TypeAlias = tuple[Item, ...]


def branch_at(network: Series, path: Path) -> Series:
    """Return the series at the path of a branch. Raises LookupError when there is none."""
    if not path:
        return network
    index, branch, *rest = path
    parallel = item_at(network, (index,))
    if not isinstance(parallel, Parallel) or not 0 <= branch < len(parallel.branches):
        raise LookupError(path)
    return branch_at(parallel.branches[branch], tuple(rest))


def item_at(network: Series, path: Path) -> Item:
    """Return the item at a path. Raises LookupError when there is none."""
    if len(path) % 2 == 0:
        raise LookupError(path)
    items = branch_at(network, path[:-1]).items
    if not 0 <= path[-1] < len(items):
        raise LookupError(path)
    return items[path[-1]]


def update(network: Series, branch: Path, change: Callable[[Items], Items]) -> Series:
    """Return the network with the items of one branch changed."""
    if not branch:
        return Series(change(network.items))
    index, number, *rest = branch
    parallel = item_at(network, (index,))
    assert isinstance(parallel, Parallel), "a path leads through parallels"
    inner = update(parallel.branches[number], tuple(rest), change)
    branches = (*parallel.branches[:number], inner, *parallel.branches[number + 1 :])
    return Series((*network.items[:index], Parallel(branches), *network.items[index + 1 :]))


def splice(network: Series, first: Path, last: Path, change: Callable[[Items], Items]) -> Series:
    """Return the network with the items from ``first`` to ``last``, of one series, changed."""

    def changed(items: Items) -> Items:
        return (
            *items[: first[-1]],
            *change(items[first[-1] : last[-1] + 1]),
            *items[last[-1] + 1 :],
        )

    return update(network, first[:-1], changed)


def without(network: Series, first: Path, last: Path) -> Series:
    """Return the network without some items of one series; a branch left empty goes with them."""
    branch = branch_at(network, first[:-1])
    if len(first) > 1 and last[-1] - first[-1] + 1 == len(branch.items):
        return without_branch(network, first[:-1])
    return splice(network, first, last, lambda _: ())


def without_branch(network: Series, path: Path) -> Series:
    """Return the network without one branch of a parallel."""
    parallel_path, number = path[:-1], path[-1]

    def changed(items: Items) -> Items:
        (parallel,) = items
        assert isinstance(parallel, Parallel), "a branch is in a parallel"
        left = (*parallel.branches[:number], *parallel.branches[number + 1 :])
        return (Parallel(left),) if left else ()

    return splice(network, parallel_path, parallel_path, changed)


def path_of(network: Series, element: Element) -> Path:
    """Return the path of this very element, found by identity."""
    return next(path for path, each in walk(network) if each is element)
