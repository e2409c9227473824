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


def test_what_people_write_for_a_key_leads_to_it_and_what_was_typed_in_f_stays_readable() -> None:
    text = """
[[charge]]
spirit = "vodka"
volume = "1 L"
abv = "50 %"
[still]
pot = "2 L"
room = "150 °F"
"""
    with pytest.raises(SeveralFaultsError) as refused:
        potsim.Plan.from_text(text)
    said = str(refused.value)
    assert all(f"Did you mean '{key}'?" in said for key in ("name", "capacity"))
    assert "150 °F, that is 65.6 °C" in said
