"""The command line: a module a command; where everything is tied together."""
