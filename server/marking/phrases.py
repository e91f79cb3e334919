"""Times and numbers of a verdict in words."""


def seconds(ms: int) -> str:
    """Return milliseconds as seconds with two decimals: '0.52 s'."""
    return f"{ms / 1000:.2f} s"


def plant_time(ms: int) -> str:
    """Return a longer time, rounded: '45 s', '6.2 min'."""
    return f"{ms / 1000:.0f} s" if ms < 60_000 else f"{ms / 60_000:.1f} min"


def counted(number: int, word: str) -> str:
    """Return a number with its word: '1 change', '4 changes'."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def known_by_scenarios(count: int, ms: int) -> str:
    """Return how a requirement is known that was met in ``count`` scenarios, ``ms`` in all."""
    return f"held in {counted(count, 'scenario')} ({plant_time(ms)} of plant time)"
