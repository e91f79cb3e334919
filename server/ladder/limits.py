"""The bounds on a program: what is handed in can be read, drawn and run in bounded time.

Each is named in the message that enforces it.
"""

MAX_RUNGS = 400
MAX_ELEMENTS = 200
"""Elements, wires of empty branches and outputs in one rung."""
MAX_PROGRAM_ELEMENTS = 5000
"""Of all rungs together: what can be marked, drawn and explained while somebody waits."""
MAX_NESTING = 12
"""Parallels inside each other, and parentheses open at once in the text form."""
MAX_OPERATORS = 12
"""Operators and functions in one assignment."""
MAX_BRANCHES = 50
"""Branches of one IF in the text form."""
MAX_JSON_DEPTH = 100
"""Lists and objects inside each other; a parallel takes three."""
MAX_VARIABLES = 400
MAX_SERVES = 20
"""Requirements that one rung names."""
MAX_SYMBOL_LENGTH = 32
MAX_COMMENT_LENGTH = 500
MAX_TEXT_BYTES = 500_000
MAX_MESSAGES = 20
"""Mistakes reported at once when a text can't be read."""
RUNGS_REMEMBERED = 8192
"""Rungs of which it is remembered what follows from them alone: an edit changes one of many."""
