"""Results as words and tables: the one place where sentences are made."""
