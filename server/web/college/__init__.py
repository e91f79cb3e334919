"""Terms, courses, sections, people and the college's settings."""
