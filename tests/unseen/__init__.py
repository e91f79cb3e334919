"""Programs that were written from the exercise sheets alone, in compact form, to judge verdicts by.

``<slug>.txt`` has one exercise's programs. Each begins with a line ``=== right-NAME`` or
``=== wrong-NAME``; lines ``fails: R1a, R2``, ``not exercised: R3``, ``why: ...`` and ``var: ...``
follow, then the rungs. The points of the sheet are declared by themselves.
"""
