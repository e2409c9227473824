"""Strength of spirit in the distiller's units: °C, litres and % vol at 20 °C."""

from potsim.liquid.strength.density import REFERENCE_C, density, w_from_density
from potsim.liquid.strength.fractions import (
    abv_from_w,
    abv_from_x,
    molar_mass,
    molar_mass_of,
    w_from_abv,
    w_from_x,
    x_from_abv,
    x_from_w,
)
from potsim.liquid.strength.hydrometer import reading_abv, true_abv, volume_at
from potsim.liquid.strength.mixing import (
    Mixture,
    Moles,
    abv_from_moles,
    mass_of,
    mix,
    moles,
    volume_from_moles,
    water_to_reach,
)
from potsim.liquid.strength.proof import (
    US_REFERENCE_C,
    abv_from_percent_at,
    abv_from_proof,
    percent_at,
    proof_from_abv,
    proof_gallons,
)

__all__ = [
    "REFERENCE_C",
    "US_REFERENCE_C",
    "Mixture",
    "Moles",
    "abv_from_moles",
    "abv_from_percent_at",
    "abv_from_proof",
    "abv_from_w",
    "abv_from_x",
    "density",
    "mass_of",
    "mix",
    "molar_mass",
    "molar_mass_of",
    "moles",
    "percent_at",
    "proof_from_abv",
    "proof_gallons",
    "reading_abv",
    "true_abv",
    "volume_at",
    "volume_from_moles",
    "w_from_abv",
    "w_from_density",
    "w_from_x",
    "water_to_reach",
    "x_from_abv",
    "x_from_w",
]
