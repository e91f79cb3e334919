"""What a command does and prints while somebody waits for it."""

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Say = Callable[[str], None]
"""Takes one sentence about what is being done."""


def say(text: str) -> None:
    """Print a line at once, also into a file or a pipe."""
    print(text, flush=True)


@contextmanager
def loading() -> Iterator[None]:
    """Import without collecting garbage: hardly anything that is loaded is ever given up.

    Going through all of it again and again is a quarter of the time that loading takes.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
