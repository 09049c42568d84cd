"""Speaks the standard: transport, session, walk."""
