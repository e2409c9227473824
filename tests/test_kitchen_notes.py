"""Forty kitchen notes: how many rounds of edit and run until each runs. The aim is one."""

from __future__ import annotations

import pytest
from kitchen_notes import NOTES, Note, mended, text_of

import potsim
from potsim.errors import PotsimError, SeveralFaultsError


@pytest.mark.parametrize("note", NOTES, ids=lambda note: note.name)
def test_a_kitchen_note_runs_after_one_round_at_most(note: Note) -> None:
    if note.mended:
        with pytest.raises(PotsimError) as refused:
            potsim.distil(potsim.Plan.from_text(text_of(note)))
        error = refused.value
        faults = error.faults if isinstance(error, SeveralFaultsError) else [error]
        assert len(faults) == len(note.mended), "each slip is told, and all at once"
        assert all(fault.hint for fault in faults)
    assert potsim.distil(potsim.Plan.from_text(mended(note))).stop.collected_l > 0.0


def test_there_are_forty_notes_and_no_two_alike() -> None:
    assert len({note.name for note in NOTES}) == len(NOTES) == 40
