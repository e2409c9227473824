"""How a volume is said where a cylinder measures it."""

MOST_ML = 10_000.0  # more is told in litres


def measured(volume_l: float) -> str:
    """Return a volume [L] to a millilitre, from ten litres on to a tenth of a litre.

    Parameters
    ----------
    volume_l : float
        Volume [L].

    Returns
    -------
    str
        With its unit.

    Examples
    --------
    >>> measured(1.0736), measured(36.486)
    ('1074 mL', '36.5 L')
    """
    return f"{1000.0 * volume_l:.0f} mL" if 1000.0 * volume_l < MOST_ML else f"{volume_l:.1f} L"
