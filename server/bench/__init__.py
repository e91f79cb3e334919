"""Measured figures beside what they are measured against, in one run.

Nothing of the product imports this package; ``rungmark bench`` does.
"""
