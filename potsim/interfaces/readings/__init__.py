"""Readings as people give them: a table with headers, or lines typed at the still."""
