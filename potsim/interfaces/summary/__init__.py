"""What a distiller reads in a terminal, a module for each answer."""
