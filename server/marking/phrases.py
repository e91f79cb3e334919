"""Times and numbers of a verdict in words."""


def seconds(ms: int) -> str:
    """Milliseconds as seconds with two decimals: '0.52 s'."""
    return f"{ms / 1000:.2f} s"


def plant_time(ms: int) -> str:
    """A longer time, rounded: '45 s', '6.2 min'."""
    return f"{ms / 1000:.0f} s" if ms < 60_000 else f"{ms / 60_000:.1f} min"


def known_by_scenarios(count: int, ms: int) -> str:
    """How a met requirement is known."""
    scenarios = "1 scenario" if count == 1 else f"{count} scenarios"
    return f"{scenarios}, {plant_time(ms)} of plant time"
