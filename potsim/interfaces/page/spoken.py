"""Refusals in the words of the form: on the page nobody sees the keys of a plan file."""

from __future__ import annotations

import re

_LABELS = {
    "bottling.abv": "The bottling strength",
    "bottling.stretch.abv": "The strength of the neutral spirit",
    "cuts.heads": "The heads cut",
    "jars.keep": "What is to be pooled",
    "still.power": "The power",
    "still.heat_up_power": "The power to heat up",
    "still.power_step.power": "The power after a change",
}
_PLACES = {  # refusals of a whole table that are about one of its values
    "power_step: from_collected does not rise": "still.power_step",
    "altitude and pressure are both given": "still.pressure",
}
_VERB = re.compile(r"(?:is|are|has|names|takes)\b")
_MISSING = re.compile(r"(?:.* )?has no (?P<key>[a-z_]+)\.")
_WORDS = (
    (re.compile(r"\bstill\.capacity is\b"), "the pot holds"),
    (re.compile(r"\bpot_loss and neck_loss\b"), "what pot and neck shed"),
    (re.compile(r"^power_step: from_collected does not rise"), "The changes of power are not in their order"),
    (
        re.compile(r"^stretch is given, but no abv"),
        "The keep is stretched, but there is no bottling strength",
    ),
    (re.compile(r"\bneck_loss\b"), "what the neck sheds"),
    (re.compile(r"\bpot_loss\b"), "what the pot sheds"),
    (re.compile(r"\bAdd a \[\[botanical\]\]"), "Add it to the botanicals, or take this condition away"),
    (re.compile(r"\bWrite for example stop = .*, or leave it out"), "Write one, or take it away"),
    (re.compile(r"\bAdd for example (?:[a-z_]+ = )"), "Write for example "),
    (re.compile(r"\b[a-z_]+ = (?=\")"), ""),
)
EARLIER = "Choose a stop that comes before that."


def spoken(message: str, hint: str, path: str) -> tuple[str, str, str]:
    """Say a refusal as the page does."""
    missing = _MISSING.fullmatch(message) if path else None
    if missing and missing["key"] != "condition":
        message, path = "Nothing is written here.", f"{path}.{missing['key']}"
    path = _PLACES.get(message.rstrip("."), path)
    if path and message.startswith(path):
        message = message[len(path) :].lstrip(": ")
    if _VERB.match(message):
        message = f"{_LABELS.get(path, 'It')} {message}"
    if "it never comes" in message:
        hint = f"{hint} {EARLIER}"
    for pattern, words in _WORDS:
        message, hint = pattern.sub(words, message), pattern.sub(words, hint)
    return message[:1].upper() + message[1:], hint, path
