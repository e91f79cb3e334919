"""Work that never ends, for processes whose deadline is tried.

A process imports the file that its work is in, and is started anew after each deadline: so this
one imports hardly anything.
"""

from collections.abc import Callable


def endless_if_odd() -> Callable[[int], None]:
    def work(number: int) -> None:
        while number % 2:
            pass

    return work
