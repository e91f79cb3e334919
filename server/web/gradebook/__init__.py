"""Points of a section and of a student, corrections, similar programs."""
