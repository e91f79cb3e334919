"""A scenario in words, step by step, as a person would work it."""

from dataclasses import dataclass
from itertools import groupby

from server.marking.coverage.saboteurs import PREFIX as SABOTEUR
from server.marking.coverage.saboteurs import describe_saboteur
from server.marking.scenario import Action, Adjust, Clear, Put, Scenario, Step, Turn


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step: when it is taken, and what is done then."""

    when: str
    actions: tuple[str, ...]


def scenario_words(scenario: Scenario) -> tuple[StepWords, ...]:
    """Return the starting state, the steps, and how long the run goes on after the last of them."""
    start = (StepWords("at the start", _actions(scenario.start)),) if scenario.start else ()
    return (
        *start,
        *(StepWords(_when(step), _actions(step.actions)) for step in scenario.steps),
        StepWords(f"{_seconds(scenario.run_on_ms)} later", ("the run ends",)),
    )


def steps_in_words(scenario: Scenario) -> tuple[str, ...]:
    """Return a line for each step: 'at once: start_pb on'; equal ones in a row are one line."""
    lines = (f"{s.when}: {', '.join(s.actions)}" for s in scenario_words(scenario))
    counted = ((line, len(list(same))) for line, same in groupby(lines))
    return tuple(line if times == 1 else f"{line} ({times} times)" for line, times in counted)


def _when(step: Step) -> str:
    if step.when is not None:
        return f"as soon as {step.when.text}, within {_seconds(step.within_ms)}"
    return f"{_seconds(step.after_ms)} later" if step.after_ms else "at once"


def _actions(actions: tuple[Action, ...]) -> tuple[str, ...]:
    return tuple(map(describe_action, actions)) or ("nothing",)


def describe_action(action: Action) -> str:
    """Return an action in words: 'start_pb on'."""
    match action:
        case Turn("power", on):
            return f"power {'on' if on else 'off'}"
        case Turn(control, on):
            kind, _, name = control.partition(".")
            if kind == "fault":
                symbol, _, fault = name.partition(".")
                return f"fault at {symbol}: {fault}" if on else f"{symbol} is mended"
            if control.startswith(SABOTEUR):
                return f"from here on {describe_saboteur(control)}"
            return f"{name} {'on' if on else 'off'}"
        case Adjust(quantity, value):
            return f"{quantity} set to {value:g}"
        case Put(belt, position, marked):
            item = "a marked item" if marked else "an item"
            return f"{item} put on {belt}, {position:g} m from its infeed"
        case Clear(belt, first, last):
            return f"items on {belt} from {first:g} m to {last:g} m taken off"


def _seconds(ms: int) -> str:
    return f"{ms / 1000:g} s"
