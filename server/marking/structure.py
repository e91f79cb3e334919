"""Rules about how a program is written: structure and documentation.

``RULES`` is the one table of them. A rule looks at a student's program, whose points are bound by
address, and answers None or one plain sentence that says what is missing and where.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

from server.ladder.elements import BLOCK_TYPES, CoilKind, ContactKind
from server.ladder.names import shortened
from server.ladder.program import Coil, Contact, Program, walk
from server.marking.exercise import Exercise, RequirementKind
from server.marking.patterns import StructureRule
from server.marking.program_view import ASSIGNMENT, COMPARISON, ProgramView, sealed

ELEMENTS: tuple[str, ...] = (
    *(f"{kind} contact" for kind in ContactKind),
    *CoilKind,
    *BLOCK_TYPES,
    COMPARISON,
    ASSIGNMENT,
)
"""Names of elements that a rule can ask for."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: what it asks for, its judge, and the fields of a check beside ``uses``.

    ``of`` is the rule's subject (a symbol, or an element where ``subject_is`` says so), ``by`` its
    source, ``times`` its count; ``needs`` must be there, ``may`` can be left out.
    """

    meaning: str
    judge: "Callable[[ProgramView, StructureRule], str | None]"
    needs: tuple[str, ...] = ()
    may: tuple[str, ...] = ()
    subject_is: str = "symbol"


def judge_structure(rule: StructureRule, program: Program, exercise: Exercise) -> str | None:
    """None when the program keeps to the rule, else a sentence. The rule must be sound."""
    return RULES[rule.rule].judge(ProgramView(program, exercise), rule)


def rule_fault(rule: StructureRule, symbols: Collection[str]) -> tuple[str, str] | None:
    """Field and sentence for what is wrong with a rule as the author wrote it, or None.

    ``symbols`` are those of the points and internal bits of the exercise.
    """
    if rule.rule not in RULES:
        return "uses", f"There is no rule {shortened(rule.rule)}. The rules are {_list(RULES)}."
    known = RULES[rule.rule]
    for field_name, value in (("of", rule.subject), ("by", rule.source)):
        allowed = ELEMENTS if field_name == "of" and known.subject_is == "element" else symbols
        if not value and field_name in known.needs:
            return "uses", f"The rule {rule.rule!r} needs '{field_name}'. Write it beside 'uses'."
        if value and field_name not in (*known.needs, *known.may):
            return field_name, f"The rule {rule.rule!r} has no '{field_name}'. Leave it out."
        if value and value not in allowed:
            return field_name, f"{shortened(value)} is not known here. Known are {_list(allowed)}."
    if rule.count != 1 and "times" not in known.may:
        return "times", f"The rule {rule.rule!r} has no 'times'. Leave it out."
    return None


# -- the judges ----------------------------------------------------------------------------------


def _element(view: ProgramView, rule: StructureRule) -> str | None:
    used = view.used(rule.subject)
    if used >= rule.count:
        return None
    asked = "one" if rule.count == 1 else str(rule.count)
    return f"The program uses {used or 'no'} {rule.subject}; the exercise asks for {asked}."


def _no_element(view: ProgramView, rule: StructureRule) -> str | None:
    if not view.used(rule.subject):
        return None
    return f"The program uses a {rule.subject}; the exercise asks to do without."


def _pair(view: ProgramView, rule: StructureRule) -> str | None:
    if rule.subject:
        own = view.own_name(rule.subject)
        if own is None:
            return f"The program does not declare the internal bit {rule.subject}."
        candidates = [own]
    else:
        candidates = view.internal()
    halves = [
        (bool(view.coils(name, CoilKind.SET)), bool(view.coils(name, CoilKind.RESET)), name)
        for name in candidates
    ]
    if any(is_set and is_reset for is_set, is_reset, _ in halves):
        return None
    for is_set, is_reset, name in halves:
        if is_set or is_reset:
            has, lacks = ("set", "reset") if is_set else ("reset", "set")
            return f"{name} has a {has} coil but no {lacks} coil."
    wanted = candidates[0] if rule.subject else "an internal bit"
    return f"No rung sets and no rung resets {wanted}."


def _written(view: ProgramView, rule: StructureRule) -> str | None:
    own = view.own_name(rule.subject)
    if own is None:
        return f"The program does not declare {rule.subject}."
    if view.coils(own, *CoilKind):
        return None
    return f"No rung writes {own}."


def _seal_in(view: ProgramView, rule: StructureRule) -> str | None:
    own = view.own_name(rule.subject) if rule.subject else None
    if rule.subject and own is None:
        return f"The program does not declare {rule.subject}."
    for rung in view.program.rungs:
        for output in rung.outputs:
            if not (isinstance(output, Coil) and output.kind is CoilKind.COIL):
                continue
            if own in (None, output.symbol) and sealed(rung.network, output.symbol):
                return None
    if own is None:
        return "No coil has its own contact in a branch that seals it in."
    rungs = view.coils(own, CoilKind.COIL)
    where = f"Rung {rungs[0]}" if rungs else "The program"
    return f"{where} has no branch with {own}'s own contact that seals it in."


def _one_coil(view: ProgramView, rule: StructureRule) -> str | None:
    for variable in view.program.variables:
        name = variable.symbol
        if rule.subject and name != view.own_name(rule.subject):
            continue
        plain = view.coils(name, CoilKind.COIL, CoilKind.NEGATED)
        latching = view.coils(name, CoilKind.SET, CoilKind.RESET)
        if len(plain) > 1:
            return f"{name} is written by the coils of rungs {_rungs(plain)}; the last one wins."
        if plain and latching:
            both = sorted(plain + latching)
            return f"{name} has a coil and set or reset coils, in rungs {_rungs(both)}."
    return None


def _driven(view: ProgramView, rule: StructureRule) -> str | None:
    target, source = view.own_name(rule.subject), view.own_name(rule.source)
    for wanted, own in ((rule.subject, target), (rule.source, source)):
        if own is None:
            return f"The program does not declare {wanted}."
    assert target is not None
    assert source is not None
    rungs = view.coils(target, CoilKind.COIL, CoilKind.NEGATED, CoilKind.SET)
    if not rungs:
        return f"No rung drives {target}."
    contact = Contact(ContactKind.OPEN, source)
    for number in rungs:
        if all(element != contact for _, element in walk(view.program.rungs[number - 1].network)):
            return f"Rung {number} drives {target} without a contact of {source}."
    return None


def _comments(view: ProgramView, rule: StructureRule) -> str | None:
    bare = [
        number
        for number, rung in enumerate(view.program.rungs, 1)
        if not rung.comment and (rung.outputs or rung.network.items)
    ]
    if not bare:
        return None
    if len(bare) == 1:
        return f"Rung {bare[0]} has no comment."
    return f"Rungs {_rungs(bare)} have no comment."


def _declared(view: ProgramView, rule: StructureRule) -> str | None:
    named = {v.address for v in view.program.variables}
    missing = [p for p in view.exercise.points if p.address not in named]
    if not missing:
        return None
    listed = _list(f"{p.address} ({p.symbol})" for p in missing)
    return f"The program has no name for {listed}."


def _served(view: ProgramView, rule: StructureRule) -> str | None:
    served = {number for rung in view.program.rungs for number in rung.serves}
    asked = [r.id for r in view.exercise.requirements if r.kind is RequirementKind.STATED]
    missing = [number for number in asked if number not in served]
    if not missing:
        return None
    return f"No rung says that it serves {_list(missing)}."


RULES: dict[str, Rule] = {
    "element": Rule(
        "An element stands in the program at least so many times.",
        *(_element, ("of",), ("times",), "element"),
    ),
    "no element": Rule(
        "An element does not stand in the program.", _no_element, ("of",), (), "element"
    ),
    "set-reset pair": Rule(
        "An internal bit (any, or the named one) has a set coil and a reset coil.",
        *(_pair, (), ("of",)),
    ),
    "internal bit": Rule(
        "The internal bit that the statement names is written.", _written, ("of",)
    ),
    "seal-in": Rule(
        "A coil (any, or the named one) has its own contact in a parallel branch.",
        *(_seal_in, (), ("of",)),
    ),
    "one coil": Rule(
        "No variable (or not the named one) is written by two coils.", _one_coil, (), ("of",)
    ),
    "driven by": Rule(
        "Every rung that drives the output has a contact of the other symbol.",
        *(_driven, ("of", "by")),
    ),
    "comment on every rung": Rule("Every rung has a comment.", _comments),
    "name for every point": Rule("Every point of the table is declared.", _declared),
    "rung for every requirement": Rule(
        "Every stated requirement is named by a rung that serves it.", _served
    ),
}
"""Every rule by the name under which ``uses`` asks for it."""


def _list(names: Iterable[str]) -> str:
    return ", ".join(names)


def _rungs(numbers: list[int]) -> str:
    words = list(map(str, numbers))
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
