"""Behavior coverage: which behavior no check demands, and a working day of ordinary operation."""
