"""Outcomes and statistics for the department."""
