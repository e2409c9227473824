"""How people reach potsim: units, plan files, the command line, pictures and pages."""
