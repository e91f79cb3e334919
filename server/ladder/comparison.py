"""Two programs compared rung by rung and declaration by declaration, for a drawing of what changed.

Rungs are aligned like lines of text, by difflib; where rungs were replaced by others, those that
have most elements in common are paired as changed.
"""

from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from enum import StrEnum

from server.ladder.description import describe_item, describe_output
from server.ladder.program import Path, Program, Rung, Variable, walk
from server.ladder.tree import item_at


class ChangeKind(StrEnum):
    """What became of a rung, an element or a declaration."""

    SAME = "same"
    ADDED = "added"
    REMOVED = "removed"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class RungChange:
    """One row of the comparison: the rung before, the rung after, with their numbers from 0.

    ``elements_before`` and ``elements_after`` are the paths of elements that the other rung does
    not have, ``outputs_before`` and ``outputs_after`` the numbers of such outputs.
    """

    change: ChangeKind
    before: int | None
    after: int | None
    elements_before: tuple[Path, ...] = ()
    elements_after: tuple[Path, ...] = ()
    outputs_before: tuple[int, ...] = ()
    outputs_after: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class VariableChange:
    """A declaration that is not the same in both programs."""

    change: ChangeKind
    before: Variable | None
    after: Variable | None


@dataclass(frozen=True, slots=True)
class ProgramChanges:
    """Every rung of both programs in order, and the declarations that differ."""

    rungs: tuple[RungChange, ...]
    variables: tuple[VariableChange, ...]

    @property
    def same(self) -> bool:
        """Nothing differs but the name and comment of the program."""
        return not self.variables and all(rung.change is ChangeKind.SAME for rung in self.rungs)


_ALIKE = 0.5
"""Rungs that have a smaller share in common are shown as one removed and one added."""


def compare(before: Program, after: Program) -> ProgramChanges:
    """Return what changed from one program to another."""
    return ProgramChanges(
        tuple(_rungs(before.rungs, after.rungs)), tuple(_variables(before, after))
    )


def describe_change(row: RungChange, before: Program, after: Program) -> str:
    """Return one row in words, for a page and for whoever can't see the drawing."""
    if row.before is None or row.after is None:
        index = row.after if row.before is None else row.before
        return f"Rung {(index or 0) + 1} {row.change}."
    number = f"Rung {row.after + 1}"
    if row.after != row.before:
        number += f", before rung {row.before + 1},"
    if row.change is ChangeKind.SAME:
        return f"{number} is the same."
    old, new = before.rungs[row.before], after.rungs[row.after]
    differences = [
        *(f"added {describe_item(item_at(new.network, p), after)}" for p in row.elements_after),
        *(f"added {describe_output(new.outputs[n], after)}" for n in row.outputs_after),
        *(f"removed {describe_item(item_at(old.network, p), before)}" for p in row.elements_before),
        *(f"removed {describe_output(old.outputs[n], before)}" for n in row.outputs_before),
    ]
    if not row.elements_before and not row.elements_after and old.network != new.network:
        differences.append("other branches")
    if old.comment != new.comment:
        differences.append("another comment")
    if old.serves != new.serves:
        differences.append("other requirements")
    return f"{number} changed: {'; '.join(differences) or 'another order of outputs'}."


def _rungs(before: Sequence[Rung], after: Sequence[Rung]) -> Iterator[RungChange]:
    matcher = SequenceMatcher(None, before, after, autojunk=False)
    for tag, i1, i2, j1, j2 in matcher.get_opcodes():
        if tag == "equal":
            for i, j in zip(range(i1, i2), range(j1, j2), strict=True):
                yield RungChange(ChangeKind.SAME, i, j)
            continue
        pairs = _paired(before[i1:i2], after[j1:j2])
        i, j = i1, j1
        for old, new in [*((i1 + old, j1 + new) for old, new in pairs), (i2, j2)]:
            yield from (RungChange(ChangeKind.REMOVED, n, None) for n in range(i, old))
            yield from (RungChange(ChangeKind.ADDED, None, n) for n in range(j, new))
            if old < i2:
                yield _changed(before[old], old, after[new], new)
            i, j = old + 1, new + 1


def _paired(before: Sequence[Rung], after: Sequence[Rung]) -> list[tuple[int, int]]:
    """Return the pairs of rungs, in order, that have most in common altogether."""
    numbers: dict[Hashable, int] = {}
    olds = [_content(rung, numbers) for rung in before]
    news = [_content(rung, numbers) for rung in after]
    similarity = [[_similarity(old, new) for new in news] for old in olds]
    # best[i][j]: what the rungs from i and from j on can have in common.
    best = [[0.0] * (len(news) + 1) for _ in range(len(olds) + 1)]
    for i in reversed(range(len(olds))):
        for j in reversed(range(len(news))):
            together = similarity[i][j] + best[i + 1][j + 1]
            best[i][j] = max(best[i + 1][j], best[i][j + 1], together)
    pairs: list[tuple[int, int]] = []
    i = j = 0
    while i < len(olds) and j < len(news):
        if similarity[i][j] and best[i][j] == similarity[i][j] + best[i + 1][j + 1]:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif best[i][j] == best[i + 1][j]:
            i += 1
        else:
            j += 1
    return pairs


def _content(rung: Rung, numbers: dict[Hashable, int]) -> Counter[int]:
    """Return how often each element and output is there.

    Equal ones have one number, quick to compare.
    """
    content = [*(element for _, element in walk(rung.network)), *rung.outputs]
    return Counter(numbers.setdefault(each, len(numbers)) for each in content)


def _similarity(old: Counter[int], new: Counter[int]) -> float:
    total = old.total() + new.total()
    if not total:
        return 1.0
    common = sum(min(count, new[number]) for number, count in old.items() if number in new)
    share = 2 * common / total
    return share if share >= _ALIKE else 0.0


def _changed(old: Rung, i: int, new: Rung, j: int) -> RungChange:
    old_elements, new_elements = list(walk(old.network)), list(walk(new.network))
    gone, come = _unmatched([e for _, e in old_elements], [e for _, e in new_elements])
    outputs_gone, outputs_come = _unmatched(old.outputs, new.outputs)
    return RungChange(
        ChangeKind.CHANGED,
        i,
        j,
        tuple(old_elements[n][0] for n in gone),
        tuple(new_elements[n][0] for n in come),
        outputs_gone,
        outputs_come,
    )


def _unmatched(
    old: Sequence[Hashable], new: Sequence[Hashable]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the positions on each side that have no equal on the other."""
    blocks = SequenceMatcher(None, old, new, autojunk=False).get_matching_blocks()
    matched_old = {block.a + n for block in blocks for n in range(block.size)}
    matched_new = {block.b + n for block in blocks for n in range(block.size)}
    return (
        tuple(n for n in range(len(old)) if n not in matched_old),
        tuple(n for n in range(len(new)) if n not in matched_new),
    )


def _variables(before: Program, after: Program) -> Iterator[VariableChange]:
    old = {variable.symbol: variable for variable in before.variables}
    new = {variable.symbol: variable for variable in after.variables}
    for symbol in dict.fromkeys([*old, *new]):
        match old.get(symbol), new.get(symbol):
            case None, added:
                yield VariableChange(ChangeKind.ADDED, None, added)
            case removed, None:
                yield VariableChange(ChangeKind.REMOVED, removed, None)
            case was, now if was != now:
                yield VariableChange(ChangeKind.CHANGED, was, now)
