"""Cutting into a network: replace an element, remove a branch. Gives new networks."""

from collections.abc import Iterable, Iterator

from server.ladder.program import Item, Parallel, Path, Series


def spliced(network: Series, path: Path, items: Iterable[Item]) -> Series:
    """Return the network with ``items`` in place of the element or parallel at ``path``.

    None: a wire.
    """
    index, *deeper = path
    if deeper:
        branch, *inner = deeper
        parallel = network.items[index]
        assert isinstance(parallel, Parallel), "a path goes on inside a parallel only"
        branches = list(parallel.branches)
        branches[branch] = spliced(branches[branch], tuple(inner), items)
        items = (Parallel(tuple(branches)),)
    return Series((*network.items[:index], *items, *network.items[index + 1 :]))


def without_branch(network: Series, path: Path, branch: int) -> Series:
    """Return the network without one branch of the parallel at ``path``."""
    branches = dict(parallels(network))[path].branches
    return spliced(network, path, (Parallel((*branches[:branch], *branches[branch + 1 :])),))


def parallels(network: Series, prefix: Path = ()) -> Iterator[tuple[Path, Parallel]]:
    """Yield every parallel with its path, outer ones before those in their branches."""
    for i, item in enumerate(network.items):
        if isinstance(item, Parallel):
            yield (*prefix, i), item
            for j, branch in enumerate(item.branches):
                yield from parallels(branch, (*prefix, i, j))
