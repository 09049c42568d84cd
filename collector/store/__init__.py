"""State and history: the only code that knows a database."""
