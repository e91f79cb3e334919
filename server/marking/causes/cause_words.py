"""The words of a cause: what an element's signal did, or is."""

from server.ladder.elements import ContactKind
from server.ladder.program import Block, Comparison, Contact, Element
from server.ladder.text_printer import print_element


def became(value: str) -> str:
    """Return what a signal did to have the value ON, OFF or a number."""
    return {"ON": "came ON", "OFF": "went OFF"}.get(value, f"became {value}")


def change_of(element: Element, conducts: bool) -> str:
    """Return what an element's signal did so that it conducts, or no longer does."""
    match element:
        case Contact(ContactKind.RISING | ContactKind.FALLING as kind, symbol) if not conducts:
            return f"the {kind} of {symbol} was over"
        case Contact(kind, symbol):
            on = conducts is (kind in (ContactKind.OPEN, ContactKind.RISING))
            return f"{symbol} {became('ON' if on else 'OFF')}"
        case Comparison():
            return f"{print_element(element)} {'came to hold' if conducts else 'no longer held'}"
        case Block(instance, _):
            return f"{instance} {'let power through' if conducts else 'cut the power'}"


def state_of(element: Element, conducts: bool) -> str:
    match element:
        case Contact(ContactKind.RISING | ContactKind.FALLING as kind, symbol):
            return f"{symbol} has {'a' if conducts else 'no'} {kind}"
        case Contact(kind, symbol):
            on = conducts is (kind is ContactKind.OPEN)
            return f"{symbol} is {'ON' if on else 'OFF'}"
        case Comparison():
            return f"{print_element(element)} {'holds' if conducts else 'does not hold'}"
        case Block(instance, _):
            return f"{instance} {'lets power through' if conducts else 'lets none through'}"
