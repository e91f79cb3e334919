"""The language: what a program can be built of, one row for each element.

A row says everything about its element that needs no machine: its words, its text and XML forms,
its pins, the name of the instruction that runs it, what it is mistaken for, and its help with an
example whose run is its picture. Text form, XML form, drawing, validation, compiler, adequacy,
editor and help pages all read the rows; a row that lacks something fails when this package is
imported, and one that nothing can run when ``server.scan`` is.

To add an operator, write its row in ``assignments``, its branch in ``server.scan.arithmetic`` (or,
where instructions that there are can do it, its function in ``server.scan.functions``), and its
meaning once more in ``tests/reference.py``. To add a block, write its row in ``blocks``, its
instructions in ``server.scan.blocks``, and its meaning once more in ``tests/reference.py``.
"""

from server.ladder.elements.assignments import ASSIGNMENT_HELP, MOVED, Operator
from server.ladder.elements.blocks import BLOCK_TYPES, BlockFamily, BlockType, family_of
from server.ladder.elements.coils import CoilKind
from server.ladder.elements.comparisons import COMPARISON_HELP, Relation
from server.ladder.elements.contacts import ContactKind
from server.ladder.elements.data_types import (
    DATA_TYPES,
    INT_MAX,
    INT_MIN,
    NUMERIC,
    TIME_MAX_MS,
    WORD_BITS,
    WORD_MAX,
    DataType,
)
from server.ladder.elements.help import EXAMPLE_DECLARATIONS, Course, ElementHelp
from server.ladder.elements.pins import Pin, PinType

__all__ = [
    "ASSIGNMENT_HELP",
    "BLOCK_TYPES",
    "COMPARISON_HELP",
    "DATA_TYPES",
    "EXAMPLE_DECLARATIONS",
    "INT_MAX",
    "INT_MIN",
    "MOVED",
    "NUMERIC",
    "TIME_MAX_MS",
    "WORD_BITS",
    "WORD_MAX",
    "BlockFamily",
    "BlockType",
    "CoilKind",
    "ContactKind",
    "Course",
    "DataType",
    "ElementHelp",
    "Operator",
    "Pin",
    "PinType",
    "Relation",
    "family_of",
]
