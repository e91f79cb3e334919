"""Drawing a program: the rungs, commands, actions and the help for elements."""
