"""How many requests this process answered since its start, and how fast, by the route's name."""

from collections import defaultdict
from dataclasses import dataclass
from math import inf

from prometheus_client import CollectorRegistry, Counter, Histogram

BOUNDS = (0.01, 0.025, 0.05, 0.1, 0.3, 1.0, 3.0, 10.0)
"""Seconds; 0.3 is what a page may take, a page that waits for a verdict takes up to 25."""


@dataclass(frozen=True, slots=True)
class RouteFigures:
    """``within``: 95 of 100 requests took so many seconds at most, one of BOUNDS or infinity."""

    route: str
    count: int
    refused: int
    errors: int
    mean: float
    within: float


class RequestFigures:
    """Used on the event loop alone; /metrics and the administrator's page show it."""

    def __init__(self, registry: CollectorRegistry) -> None:
        self._seconds = Histogram(
            "rungmark_request_seconds",
            "Time from a request to its answer.",
            ["route"],
            buckets=BOUNDS,
            registry=registry,
        )
        self._answers = Counter(
            "rungmark_requests", "Requests by their answer.", ["route", "answer"], registry=registry
        )

    def note(self, route: str, status: int, seconds: float) -> None:
        """Count one request; ``status`` is 0 where no answer was sent."""
        answer = "refused" if status >= 400 else "ok"
        if status >= 500 or not status:
            answer = "error"
        self._seconds.labels(route).observe(seconds)
        self._answers.labels(route, answer).inc()

    def by_route(self) -> list[RouteFigures]:
        """Return the figures of each route that was asked for, the most used first."""
        answers: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for metric in self._answers.collect():
            for sample in metric.samples:
                if sample.name.endswith("_total"):
                    labels = sample.labels
                    answers[labels["route"]][labels["answer"]] = int(sample.value)
        sums: dict[str, float] = {}
        buckets: dict[str, list[tuple[float, float]]] = defaultdict(list)
        for metric in self._seconds.collect():
            for sample in metric.samples:
                route = sample.labels["route"]
                if sample.name.endswith("_sum"):
                    sums[route] = sample.value
                elif sample.name.endswith("_bucket"):
                    buckets[route].append((float(sample.labels["le"]), sample.value))
        found = []
        for route, by_answer in answers.items():
            count = sum(by_answer.values())
            within = min((le for le, n in buckets[route] if n >= 0.95 * count), default=inf)
            mean = sums[route] / count
            refused, errors = by_answer["refused"], by_answer["error"]
            found.append(RouteFigures(route, count, refused, errors, mean, within))
        return sorted(found, key=lambda each: (-each.count, each.route))
