"""Coverage-guided fuzzing, apart from the suite: ``python -m tests.fuzz plan --tries 100000``.

Wants ``pip install atheris`` (Linux). Nothing thrown at a plan file, a file of readings, a trial, a journal,
the page or the command line may bring a traceback, a hang, a number that is none, or a file half-written.
"""
