"""Names as people type them: case, accents, plurals, hyphens and spaces do not count."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

ENDINGS = (("leaves", "leaf"), ("ies", "y"))
NO_PLURAL = ("ss", "us", "is")


@lru_cache(maxsize=4096)
def key(name: str) -> str:
    """Return the form in which two spellings of one name are equal.

    Parameters
    ----------
    name : str
        A name as typed, such as ``"Bay-Leaves"``.

    Returns
    -------
    str
        Lower case letters and digits only, each word in the singular.

    Notes
    -----
    The crossing sign of Latin names is dropped. A misspelt letter makes another name: no guessing.

    Examples
    --------
    >>> key("Bay-Leaves") == key("bayleaf")
    True
    """
    plain = unicodedata.normalize("NFKD", name.casefold().replace("×", " "))
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    words = re.findall(r"[^\W_]+", letters)
    return "".join(singular(word) for word in words if word != "x")


def singular(word: str) -> str:
    """Return an English word without its plural ending.

    Parameters
    ----------
    word : str
        One word in lower case.

    Returns
    -------
    str
        The word, shortened where it ends as plurals do; Latin endings stay.
    """
    for plural, single in ENDINGS:
        if word.endswith(plural) and len(word) > len(plural) - (plural == "leaves"):
            return word.removesuffix(plural) + single
    if word.endswith("s") and len(word) > 3 and not word.endswith(NO_PLURAL):
        return word[:-1]
    return word
