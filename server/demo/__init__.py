"""The course of the demo: people, sections and the work that they submitted."""
