"""The program model: rungs, elements, editor actions, text, JSON and XML forms, drawing."""
