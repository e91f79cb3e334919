"""Names of IEC 61131-10's XML that programs are handed on in.

Root, headers and namespace as in the contents listing of IEC 61131-10:2019; names of objects, their
types, attributes and children as in excerpts of files in that namespace in public repositories
(found by full-text search). Only ``latch`` of coils is from memory (Annex A).
"""

from server.ladder.elements import Operator, Relation

NAMESPACE = "www.iec.ch/public/TC65SC65BWG7TF10"
INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"

COMPARISONS = {
    Relation.EQ: "EQ",
    Relation.NE: "NE",
    Relation.LT: "LT",
    Relation.LE: "LE",
    Relation.GT: "GT",
    Relation.GE: "GE",
}
"""Standard functions of IEC 61131-3 that compare."""

ARITHMETIC: dict[Operator | None, str] = {
    None: "MOVE",
    Operator.ADD: "ADD",
    Operator.SUB: "SUB",
    Operator.MUL: "MUL",
    Operator.DIV: "DIV",
}
"""Standard functions of IEC 61131-3 that assign."""
