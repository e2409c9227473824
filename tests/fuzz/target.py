"""What is fuzzed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Target:
    """Something that is fuzzed.

    Parameters
    ----------
    name : str
        As on the command line.
    seeds : sequence of bytes
        Inputs to begin with.
    tokens : sequence of str
        Words and values to be put in.
    attempt : callable
        Takes one input; returns in a word what came of it; raises whatever should not happen.
    """

    name: str
    seeds: Sequence[bytes]
    tokens: Sequence[str]
    attempt: Callable[[bytes], str]
