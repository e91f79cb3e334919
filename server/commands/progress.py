"""What a command prints while somebody waits for it."""

from collections.abc import Callable

Say = Callable[[str], None]
"""Takes one sentence about what is being done."""


def say(text: str) -> None:
    """Print a line at once, also into a file or a pipe."""
    print(text, flush=True)
