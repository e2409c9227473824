"""The commands: a module for what shares an idea, imported for its own commands only."""
