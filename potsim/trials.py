"""From one trial to the next: what was tasted, what to try, and the book of all trials.

A `Trial` is a plan with what came of it and what was tasted; `read` takes one from its file.
"""

from __future__ import annotations

from potsim.interfaces.trialfile import read_trial as read
from potsim.planning.blends import blend_trials as blend
from potsim.planning.next_trial import book, to_bottles, to_charge
from potsim.planning.next_trial import next_trial as next
from potsim.planning.next_trial import to_charge as scale
from potsim.planning.plan import Tasting
from potsim.planning.trials import Trial, compare

__all__ = ["Tasting", "Trial", "blend", "book", "compare", "next", "read", "scale", "to_bottles", "to_charge"]
