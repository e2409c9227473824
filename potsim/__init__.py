"""Pot-still batch distillation, computed beforehand."""

__version__ = "0.1.0"
