"""A section's roster, its log and its live class."""
