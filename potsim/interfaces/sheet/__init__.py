"""A run as one printable sheet."""
