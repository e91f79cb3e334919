"""Setting an exercise for a section: due date, policy, partners, extensions."""
