"""The places of a rung that actions name, each looked up or refused in one sentence."""

from server.ladder.actions.base import refuse, rung_at
from server.ladder.messages import Place
from server.ladder.program import Block, Element, Item, Parallel, Path, Program, Series
from server.ladder.tree import item_at


def find_item(network: Series, rung: int, path: Path) -> Item:
    try:
        return item_at(network, path)
    except LookupError:
        shown = ".".join(str(step + 1) for step in path) or "0"
        refuse(Place(rung), f"There is no element {shown}.", "Choose one of the rung's elements.")


def find_element(network: Series, rung: int, path: Path) -> Element:
    item = find_item(network, rung, path)
    if isinstance(item, Parallel):
        refuse(
            Place(rung, path), "This is a parallel.", "Choose an element in one of its branches."
        )
    return item


def find_block(program: Program, rung: int, path: Path) -> Block:
    element = find_element(rung_at(program, rung).network, rung, path)
    if not isinstance(element, Block):
        refuse(Place(rung, path), "The element is no block.", "Choose a block.")
    return element


def find_branch(rung: int, path: Path) -> Path:
    if len(path) < 3:
        refuse(
            Place(rung, path),
            "The element stands in no branch.",
            "Put an element in parallel with it.",
        )
    return path[:-1]


def find_span(network: Series, rung: int, first: Path, last: Path | None) -> tuple[Path, Path]:
    """Return two ends in one series, in order."""
    last = first if last is None else last
    for path in (first, last):
        find_item(network, rung, path)
    if first[:-1] != last[:-1]:
        refuse(
            Place(rung, first),
            "The selection begins and ends in different branches.",
            "Select elements of one branch.",
        )
    return min(first, last), max(first, last)


def refuse_symbol(place: Place, fault: tuple[str, str] | None) -> None:
    if fault is not None:
        refuse(place, *fault)
