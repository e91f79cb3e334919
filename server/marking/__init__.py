"""Exercises, checks, scenarios, proofs and verdicts.

The same program, exercise and engine give the same verdict to the byte, whatever the threads.
*Proved* is said only of what the search covered. Nothing here knows of the web or the database.
"""
