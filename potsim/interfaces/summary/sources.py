"""Where the figures of a run come from."""

from __future__ import annotations

from potsim.interfaces.summary.tables import Points, Section
from potsim.planning.botanicals.botanical import Botanical
from potsim.planning.botanicals.spirits import composition
from potsim.planning.plan import Ingredient
from potsim.planning.run import Run

# In full in the heads of the tables in potsim/data.
STRENGTH = (
    "Strengths, volumes, contraction, what a hydrometer shows: OIML R 22 (1975), International "
    "Alcoholometric Tables."
)
BOILING = (
    "Boiling, vapour and heats of ethanol and water: fitted to Kamihama et al. 2012, Pemberton & Mash 1978, "
    "Beebe et al. 1942 and Larkin 1975; pure ethanol by Poling, Prausnitz & O'Connell 2001, pure water by "
    "Wagner & Pruss 1993."
)
TRACES = (
    "Volatility of flavours: vapour pressures of handbooks or estimated, in ethanol and water by group "
    "contributions (modified UNIFAC, Dortmund), anchored in water where a measured constant is known."
)
OILS = (
    "Cloud: solubilities in water, partly from memory of handbooks; growth with ethanol after Li & Yalkowsky "
    "1994 (reference from memory). How fast botanicals give up their oil: common practice, no source."
)
MORE = "How far all this is from what was measured: `potsim evidence`. All that is known of a botanical: "
MORE += "`potsim botanicals NAME`."


def sources_section(run: Run) -> Section:
    """Return where the figures of a run come from.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    Section
        Sentences: the liquid, the traces where there are any, each botanical, each kind of spirit.
    """
    followed = run.bill or run.flavours.base
    return Section(
        "Sources",
        (
            Points(
                (
                    STRENGTH,
                    BOILING,
                    *((TRACES,) if followed else ()),
                    *((OILS,) if run.bill else ()),
                    *dict.fromkeys(_botanical(dose.botanical) for dose in run.bill),
                    *_spirits(run),
                    MORE,
                )
            ),
        ),
    )


def _botanical(one: Botanical) -> str:
    shares = dict.fromkeys(f"{share.source} ({share.confidence})" for share in one.composition)
    oil = f"oil {one.yield_source} ({one.yield_confidence})"
    return f"{one.common_name}: {oil}; compounds {'; '.join(shares)}."


def _spirits(run: Run) -> list[str]:
    kinds = dict.fromkeys(
        part.kind for part in run.plan.charge if isinstance(part, Ingredient) and part.kind is not None
    )
    said = []
    for kind in kinds:
        sources = dict.fromkeys(volatile.source for volatile in composition(kind))
        said.append(f"Volatiles of {kind} spirit: {'; '.join(sources)}.")
    return said
