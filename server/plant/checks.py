"""What a part of a plant checks about itself: a wrong one raises ValueError with a sentence."""

from collections import Counter
from collections.abc import Iterable

from server.ladder.names import symbol_fault


def require(condition: bool, sentence: str) -> None:
    """Raise ValueError with a sentence for the author unless the condition holds."""
    if not condition:
        raise ValueError(sentence)


def require_positive(name: str, **sizes: float) -> None:
    """Require that each size is more than zero; its keyword names it, with underscores."""
    for what, size in sizes.items():
        require(
            size > 0, f"{name}: the {what.replace('_', ' ')} must be more than zero, not {size:g}."
        )


def require_name(name: str) -> None:
    """Require a name that can stand in front of signals: a symbol in lower case."""
    fault = symbol_fault(name)
    require(fault is None, " ".join(fault or ()))
    require(name == name.lower(), f"{name} stands for signals. Write it in lower case.")


def require_different(what: str, names: Iterable[str]) -> None:
    """Require that each name occurs once."""
    for name, count in Counter(names).items():
        require(count == 1, f"The {what} {name} is there {count} times. Choose another one.")
