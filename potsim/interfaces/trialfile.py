"""A plan file changed where it stands: the author's comments, order and layout stay."""

from __future__ import annotations

import datetime
import os
import re
import textwrap
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import tomlkit

from potsim.errors import PotsimError, RequestError, UnknownNameError
from potsim.interfaces.ownfile import is_still
from potsim.interfaces.planfile import inlined, opened, plan_of, read_notes, read_result, tables_of
from potsim.interfaces.quantities import short
from potsim.interfaces.tomlfile import Source, parse
from potsim.interfaces.wording import (
    Step,
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_power,
    format_pressure,
    format_share,
    format_temperature,
    format_volume,
    number,
    pieces_of,
    plain,
    step_of,
)
from potsim.planning.blends import TrialBlend
from potsim.planning.botanicals import ResolvedDose
from potsim.planning.next_trial import DoseChange, Factors, Learnt, NextTrial, Scaled
from potsim.planning.plan import VERDICTS, Plan, Result
from potsim.planning.schema import keys_of
from potsim.planning.trials import Difference, InBottle, Trial, Value, check
from potsim.records import dataclass

Steps = tuple[str | int, ...]

# Characters that TOML does not allow: they cannot be the author's.
_FROM, _TO = "\x02", "\x03"
COMMENT_WIDTH = 96


class Edit:
    """The text of a plan file under change."""

    def __init__(self, text: str, name: str) -> None:
        text = text.removeprefix("\ufeff")
        self._name = name
        self._line = "\r\n" if "\r\n" in text else "\n"
        self._end: list[str] = []
        self._top: list[str] = []
        self._doc: Any = tomlkit.parse(text)
        if tomlkit.dumps(self._doc) != text:
            raise self.refuse("apart")

    def refuse(self, why: str, key: str = "table") -> RequestError:
        """Return the refusal of a layout that cannot be changed where it stands."""
        return RequestError.of("unchangeable", given=self._name, of=why, key=key)

    def has(self, path: Steps) -> bool:
        """Whether something stands there."""
        at = self._doc
        for step in path:
            there = step < len(at) if isinstance(step, int) else step in at
            if not there:
                return False
            at = at[step]
        return True

    def get(self, path: Steps) -> Any:
        """Return what stands there."""
        at = self._doc
        for step in path:
            at = at[step]
        return at

    def set(self, path: Steps, value: Any, why: str = "") -> None:
        """Set a key, new or not."""
        key = str(path[-1])
        if not self.has(path[:-1]):
            self.append(path[:-1], {key: value}, why)
        elif self.has(path):
            self.get(path[:-1])[key] = value
            self._say(path, why)
        else:
            table = self.get(path[:-1])
            last = self._last_simple(table)
            if last is None:
                table[key] = value
                self._say(path, why)
                return
            lines = [*self._comment(why), tomlkit.dumps({key: value}).rstrip("\n")]
            self._after(last, lines)

    def set_top(self, key: str, value: str, after: str = "") -> None:
        """Set a key at the top of the file."""
        if key in self._doc:
            self._doc[key] = value
            return
        line = tomlkit.dumps({key: value}).rstrip("\n")
        if after in self._doc and hasattr(self._doc[after], "trivia"):
            self._after(self._doc[after], [line])
        else:
            self._top.append(line)

    def say_first(self, why: str) -> None:
        """Put a comment at the very top."""
        self._top = [*self._comment(why), *self._top]

    def append(self, path: Steps, table: dict[str, Any], why: str = "") -> None:
        """Add a table at the end of the file."""
        name = ".".join(str(step) for step in path)
        body = tomlkit.dumps(table).rstrip("\n").split("\n")
        self._end += ["", f"[{name}]", *self._comment(why), *body]

    def append_row(self, name: str, table: Any, why: str = "") -> None:
        """Add one more ``[[name]]`` behind those that there are."""
        rows = self._doc.get(name)
        table = inlined({name: [table]})[name][0]
        lines = ["", f"[[{name}]]", *self._comment(why), *tomlkit.dumps(table).rstrip("\n").split("\n")]
        if rows is None:
            self._end += lines
        elif (last := self._last_simple(rows[-1])) is not None:
            self._after(last, lines)
        else:
            inline = tomlkit.inline_table()
            inline.update(table)
            rows.append(inline)
            self._say((name,), why)

    def comment_out(self, path: Steps, why: str = "") -> None:
        """Turn a table, a row or a key into a comment; its own comments stay as they are."""
        at = self.get(path)
        holder = self.get(path[:-1])
        if type(holder).__name__ in ("Array", "InlineTable"):
            gone = at.as_string().strip() if hasattr(at, "as_string") else str(at)
            # The comment behind a row of an inline array belongs to the array.
            rows = [row for row in getattr(holder, "_value", ()) if row.value is at and row.comment]
            gone = " ".join([gone, *(row.comment.as_string().strip() for row in rows)])
            del holder[path[-1]]
            self._say(path[:-1], f"{why}: {gone}" if why else gone)
            return
        if type(at).__name__ == "AoT":
            for k in range(len(at)):
                self.comment_out((*path, k), why if k == 0 else "")
            return
        body = self._last_simple(at) if hasattr(at, "keys") else None
        if not hasattr(at, "trivia"):
            raise self.refuse("several_places", str(path[-1]))
        if hasattr(at, "keys") and type(at).__name__ == "Table" and (body is None or at.is_super_table()):
            raise self.refuse("no_line", str(path[0]))
        at.trivia.indent = "".join(f"{line}{self._line}" for line in self._comment(why)) + (
            _FROM + at.trivia.indent
        )
        last = at if body is None else body
        last.trivia.trail = _TO + last.trivia.trail

    def text(self) -> str:
        """Return the text as it has become."""
        made = re.sub(f"{_FROM}(.*?){_TO}", self._hidden, tomlkit.dumps(self._doc), flags=re.DOTALL)
        if _FROM in made or _TO in made:
            raise self.refuse("no_line")
        top = "".join(f"{line}{self._line}" for line in self._top)
        end = "".join(f"{line}{self._line}" for line in self._end)
        if end and made and not made.endswith("\n"):
            made += self._line
        return top + made + (end.removeprefix(self._line) if not made.strip() else end)

    def _hidden(self, found: re.Match[str]) -> str:
        lines = found[1].splitlines(keepends=True)
        return "".join(
            line if not line.strip() or line.lstrip().startswith("#") else f"# {line}" for line in lines
        )

    def _comment(self, why: str) -> list[str]:
        return [f"# {line}" for line in textwrap.wrap(" ".join(why.split()), COMMENT_WIDTH)]

    def _say(self, path: Steps, why: str) -> None:
        """Write a comment above the line in which something stands."""
        if not why:
            return
        at = self._doc
        for step in path:
            at = at[step]
            if hasattr(at, "trivia") and type(at).__name__ not in ("Table", "AoT"):
                break
        before, own = re.fullmatch(r"(.*\n)?([^\n]*)", at.trivia.indent, re.DOTALL).groups(default="")  # type: ignore[union-attr]
        said = "".join(f"{own}{line}{self._line}" for line in self._comment(why))
        at.trivia.indent = before + said + own

    def _after(self, item: Any, lines: Iterable[str]) -> None:
        """Write lines behind the line of an item."""
        own = re.match(r"[ \t]*", item.trivia.indent.rpartition("\n")[2])
        margin = own[0] if own else ""
        added = "".join(f"{margin}{line}{self._line}" if line else self._line for line in lines)
        item.trivia.trail = (item.trivia.trail or self._line) + added

    @staticmethod
    def _last_simple(table: Any) -> Any:
        """Last key with a value of its own in a table in brackets; None in other tables."""
        if type(table).__name__ != "Table" or table.is_super_table():
            return None
        simple = [
            item
            for key, item in table.value.body
            if key is not None and not key.is_dotted() and type(item).__name__ not in ("Table", "AoT", "Null")
        ]
        return simple[-1] if simple else None


# --- A plan file brought into line with a changed plan, key by key.


Why = Callable[[Steps, Any, Any], str]
ROWS = ("charge", "botanical")
TABLES = ("still", "cuts", "jars", "bottling", "uncertainty")
OWN = ("own_botanical", "own_compound")


def sync(
    edit: Edit, before: Plan, after: Plan, why: Why, dropped: Collection[int] = (), added: str = ""
) -> None:
    """Change what a plan file says to what another plan is."""
    old, new = tables_of(before), tables_of(after)
    if after.units is not None and not edit.has(("units",)):  # what is written here is metric
        edit.set_top("units", after.units, after="title")
    for name in ROWS:
        gone = set(dropped) if name == "botanical" else set()
        _rows(edit, name, old.get(name, []), new.get(name, []), gone, why, added)
    for name in TABLES:
        _table(edit, (name,), old.get(name, {}), new.get(name, {}), why)
    for name in OWN:
        known = old.get(name, [])
        for table in new.get(name, []):
            if table not in known:
                edit.append_row(name, table, added)


def _rows(
    edit: Edit, name: str, old: list[Any], new: list[Any], gone: set[int], why: Why, added: str
) -> None:
    kept = [k for k in range(len(old)) if k not in gone]
    surplus = kept[len(new) :]
    kept = kept[: len(new)]
    for k, table in zip(kept, new, strict=False):
        if "from_run" in old[k] and "from_run" not in table:
            _unlinked(edit, (name, k), table)
        _table(edit, (name, k), old[k], table, why)
    for table in new[len(kept) :]:
        edit.append_row(name, table, added)
    for k in sorted([*gone, *surplus], reverse=True):
        edit.comment_out((name, k), why((name, k), old[k], None))


def _unlinked(edit: Edit, path: Steps, table: dict[str, Any]) -> None:
    """Jars of an earlier run become spirit, which needs a name."""
    if not edit.has((*path, "name")):
        edit.set((*path, "name"), table["name"])


def _table(edit: Edit, path: Steps, old: dict[str, Any], new: dict[str, Any], why: Why) -> None:
    for key, value in new.items():
        was = old.get(key)
        at = (*path, key)
        if value == was:
            continue
        if isinstance(value, dict) and isinstance(was, dict) and edit.has(at):
            _table(edit, at, was, value, why)
        elif key == "power_step" and isinstance(was, list) and len(was) == len(value) and edit.has(at):
            for k, (one, other) in enumerate(zip(was, value, strict=True)):
                _table(edit, (*at, k), one, other, why)
        else:
            typed = edit.get(at) if edit.has(at) else was
            edit.set(at, value, why(at, typed, value))
    for key in old:
        if key not in new and edit.has((*path, key)):
            edit.comment_out((*path, key), why((*path, key), edit.get((*path, key)), None))


def relocate(edit: Edit, old: Path, new: Path) -> None:
    """Let names of other files hold from another folder."""
    if os.path.realpath(old) == os.path.realpath(new):
        return
    places: list[Steps] = [("still", "from_file")]
    if edit.has(("charge",)):
        places += [("charge", k, "from_run") for k in range(len(edit.get(("charge",))))]
    for place in places:
        named = edit.get(place) if edit.has(place) else None
        if isinstance(named, str) and not os.path.isabs(named):
            edit.set(place, relative(old / named, new))


def relative(path: Path, folder: Path) -> str:
    """Return how a file is named from a folder; its full path where no other way leads there."""
    try:
        return Path(os.path.relpath(os.path.realpath(path), os.path.realpath(folder))).as_posix()
    except ValueError:  # on another drive
        return Path(os.path.realpath(path)).as_posix()


def checked(text: str, wanted: Plan, name: str, folder: Path) -> str:
    """Return the text if it reads back as the plan it was made for."""
    try:
        there = plan_of(parse(text, name), Source(name, folder, text=text))
    except PotsimError as error:
        raise RequestError.of("unchangeable", given=name, of="unread", why=error.message) from error
    if there != wanted:
        raise RequestError.of("unchangeable", given=name, of="odd")
    return text


# --- A trial file: a plan file with ``[result]`` and ``[[note]]``, read, and written as the next one.


TO_FILL_IN = "The day this plan was made: set it to the day of the run, and add what comes of it."


@dataclass(frozen=True)
class TrialFile:
    """A trial with the file it stands in."""

    path: Path  # the file
    text: str  # what it holds
    trial: Trial  # what it says


def read_trial(path: str | os.PathLike[str]) -> TrialFile:
    """Read a trial file."""
    file = Path(path)
    source, document = opened(file)
    result, notes = read_result(document, source), read_notes(document, source)
    plan = plan_of(document, source, trial=True)  # refuses all faults together
    trial = Trial(file.name, plan, document.get("parent"), result, notes)
    check(trial)
    return TrialFile(file, source.text, trial)


def next_text(file: TrialFile, made: NextTrial, folder: Path, today: datetime.date) -> str:
    """Return the file of the next trial."""
    edit = Edit(file.text, file.path.name)
    changes: dict[Steps, DoseChange] = {("botanical", change.line): change for change in made.changes}
    learnt: dict[Steps, Learnt] = {("botanical", one.line, "oil_factor"): one for one in made.learnt}

    def why(path: Steps, old: Any, new: Any) -> str:
        taught = learnt.get(path)
        if taught is not None:
            return f"learnt from {file.path.name}: noticed in jars {format_numbers(taught.tasted)}"
        if str(path[-1]) == "cloud_seen":
            return f"what the glass of {file.path.name} showed: the band reaches it; goes with cloud_shift"
        if str(path[-1]) == "cloud_shift":
            return f"learnt from the haze of {file.path.name}; delete the line to forget it"
        change = changes.get(path[:2])
        return "" if change is None else _reason(change, old, new, file.path.name)

    dropped = {change.line for change in made.changes if change.after is None}
    sync(edit, file.trial.plan, made.plan, why, dropped)
    _named(edit, made.plan.title, relative(file.path, folder))
    _retire(edit, file.path.name)
    edit.append(("result",), {"date": today}, TO_FILL_IN)
    return _finished(edit, file, made.plan, folder)


def scale_text(file: TrialFile, made: Scaled, folder: Path) -> str:
    """Return the file of a scaled recipe."""
    edit = Edit(file.text, file.path.name)

    def why(path: Steps, old: Any, new: Any) -> str:
        if old is None:
            return "new for this size"
        return f"for this size; was {_shown(old)}" if new is not None else "not for this size"

    sync(edit, file.trial.plan, made.plan, why, added="new for this size")
    _named(edit, made.plan.title, relative(file.path, folder))
    _retire(edit, file.path.name)
    factors = f"charge x{made.charge_factor:.4g}, alcohol x{made.alcohol_factor:.4g}"
    doses = f"botanicals x{made.dose_factor:.4g} (by the litre of {made.per})"
    edit.say_first(f"Scaled from {file.path.name}: {factors}, {doses}.")
    return _finished(edit, file, made.plan, folder)


def blend_text(files: Sequence[TrialFile], made: TrialBlend, folder: Path) -> str:
    """Return the file of a combined recipe."""
    first = files[0]
    edit = Edit(first.text, first.path.name)
    others = list(dict.fromkeys(f.path.name for f in files[1:] if f.path.name != first.path.name))
    parts = " and ".join(f"{s.parts:g} of {s.trial.name}" for s in made.shares)

    def why(path: Steps, old: Any, new: Any) -> str:
        if old is None:
            return "for the blend"
        return f"for the blend; {_shown(old)} in {first.path.name}" if new is not None else "not in the blend"

    sync(edit, first.trial.plan, made.plan, why, added=f"from {' and '.join(others) or first.path.name}")
    parents = list(dict.fromkeys(relative(file.path, folder) for file in files))
    _named(edit, made.plan.title, ", ".join(parents))
    _retire(edit, first.path.name)
    edit.say_first(f"One run in place of the blend of {parts}, by volume.")
    return _finished(edit, first, made.plan, folder)


def titled(plan: Plan, size: str) -> Plan:
    """Return a plan with its size in the title, in place of an earlier one."""
    stem = plan.title.partition(", for ")[0]
    return replace(plan, title=f"{stem}, for {size}")


def _reason(change: DoseChange, old: Any, new: Any, name: str) -> str:
    note = change.note
    words = f' ("{note.words}")' if note.words else ""
    if change.after is None:
        return f"dropped after {name}{words}"
    return f"{note.verdict} after {name}{words}: {old} {times(change.factor)} = {new}"


def _named(edit: Edit, title: str, parent: str) -> None:
    edit.set_top("title", title)
    edit.set_top("parent", parent, after="title")


def _retire(edit: Edit, name: str) -> None:
    """Turn what came of the trial before into comments: the new one has not been run."""
    for table, what in (("result", f"What came of {name}:"), ("note", f"What was noted in {name}:")):
        if edit.has((table,)):
            edit.comment_out((table,), what)


def _finished(edit: Edit, file: TrialFile, plan: Plan, folder: Path) -> str:
    relocate(edit, file.path.parent, folder)
    return checked(edit.text(), plan, file.path.name, folder)


def _shown(old: Any) -> str:
    if isinstance(old, dict):
        return ", ".join(f"{key} {value}" for key, value in old.items())
    return ", ".join(map(str, old)) if isinstance(old, list) else str(old)


def read_folder(folder: str) -> dict[str, Trial | PotsimError]:
    """Read every trial file of a folder; a still that was learnt is none."""
    path = Path(folder)
    if not path.is_dir():
        raise RequestError.of("not_a_folder", given=folder, there=path.exists())
    found: dict[str, Trial | PotsimError] = {}
    for file in sorted(one for one in path.iterdir() if one.suffix.lower() == ".toml" and not one.is_dir()):
        if file.exists() and not file.is_file():
            found[file.name] = RequestError.of("file_to_read", given=file.name)
            continue
        try:
            found[file.name] = read_trial(file).trial
        except PotsimError as error:
            if not (file.is_file() and is_still(file)):
                found[file.name] = error
    if not found:
        raise RequestError.of("no_trials", given=folder)
    return found


# --- Numbers of trials in words: factors, doses, when a botanical comes over.


_SHARES = {"recovered", "kept", "heads_share", "heat_share", "lost", "volume", "neck_loss", "pot_loss"}
_NAMES = {
    "charge_abv": "strength of charge",
    "charge_l": "charge",
    "distillate_l": "all collected",
    "distillate_abv": "its strength",
    "recovered": "alcohol collected",
    "run_min": "from switch-on to stop",
    "boils_c": "charge boils at",
    "vapour_c": "vapour at the stop",
    "may_cloud_l": "stream may cloud from",
    "clouds_l": "stream likely clouds at",
    "bottle_clouds": "bottled spirit clouds",
    "bottle": "bottled spirit",
    "stop": "what stops it",
    "keep_l": "keep",
    "keep_abv": "strength of keep",
    "kept": "alcohol kept",
    "water_l": "water to bottle",
    "bottled_l": "bottled",
    "oil_mg_per_l": "oil in bottle",
}
_RESULTS = {known.field: known.noun for known in keys_of(Result).values()}
_ENDINGS = ("_w_per_k", "_mg_per_l", "_hpa", "_pct", "_min", "_kg", "_l", "_g", "_h", "_w", "_c", "_m")


def times(factor: float) -> str:
    """Return a factor as a person says it: ``"x 1.5"``, ``"/ 1.5"``."""
    return f"/ {plain(1 / factor, 3)}" if 0.0 < factor < 1.0 else f"x {plain(factor, 3)}"


def factors_in_words(factors: Factors) -> str:
    """Return what each verdict does: ``"a lot more x 2, more x 1.5, ..."``."""
    changing = [verdict for verdict in VERDICTS if verdict not in ("right", "drop")]
    return ", ".join(f"{verdict} {times(factors.of(verdict))}" for verdict in changing)


def read_factors(typed: str) -> Factors:
    """Read factors as typed."""
    given: dict[str, float] = {}
    for text in re.split("[;,]", typed):
        name, equals, value = text.partition("=")
        verdict = " ".join(name.split()).lower()
        found = re.fullmatch(r"\s*([x*/]?)\s*([0-9]+(?:\.[0-9]+)?)\s*", value)
        if not equals or found is None or float(found[2]) == 0.0:
            raise RequestError.of("no_factor", given=short(text.strip()))
        if verdict in ("right", "drop") or verdict not in VERDICTS:
            raise UnknownNameError("factor", verdict, [v for v in VERDICTS if v not in ("right", "drop")])
        if verdict in given:
            raise RequestError.of("given_twice", given=verdict)
        number = float(found[2])
        given[verdict] = 1 / number if found[1] == "/" else number
    return Factors(**{verdict.replace(" ", "_"): value for verdict, value in given.items()})


WHOLE = 0.03  # of a piece: so near to halves of pieces an amount can be counted, else it is weighed


def amount(line: ResolvedDose) -> str:
    """Return an amount as it is put in: ``"16.8 g"``, ``"4 pods, 0.8 g"``; weighed what cannot be counted."""
    grams, count = format_mass(line.wet_mass_g), line.dose.pieces
    piece = line.botanical.piece_counted(line.dose.counted)
    if count is None or piece is None:
        return grams
    counted = pieces_of(float(plain(count, 2)), piece.name)
    countable = abs(2.0 * count - round(2.0 * count)) <= 2.0 * WHOLE and count > WHOLE
    return f"{counted}, {grams}" if countable else f"{grams}, {counted}"


def pieces(count: float) -> str:
    """Return a number of pieces: ``"1.33 pieces"``."""
    said = plain(count, 2)
    return f"{said} piece" if said == "1" else f"{said} pieces"


def oil(mg_per_l: float) -> str:
    """Return oil for a litre in mg, to three digits."""
    return f"{mg_per_l:.3g}" if mg_per_l < 999.5 else f"{mg_per_l:.0f}"


def per_litre(g_per_l: float) -> str:
    """Return a dose for a litre in g, to three digits."""
    return f"{g_per_l:.3g}"


def when(lines: Sequence[InBottle | None]) -> tuple[str, list[tuple[str, str, str]]]:
    """Return when botanicals come over."""
    ends = [line.passage.end_l for line in lines if line is not None and line.passage is not None]
    step = step_of("volume_column", max(ends, default=0.0))
    return step.unit, [_when(line, step) for line in lines]


def _when(line: InBottle | None, step: Step) -> tuple[str, str, str]:
    if line is None:
        return "", "", ""
    if line.passage is None:
        return line.klass, "", ""
    start, end = (number("volume_column", v, step) for v in (line.passage.start_l, line.passage.end_l))
    return line.klass, start, end


def ratio(change: float | None) -> str:
    """Return a change of oil as a factor, ``"x 1.20"``; what comes new, ``"new"``."""
    if change is None:
        return "new"
    return "gone" if change == 0.0 else f"x {change:.2f}"


def name_of(difference: Difference) -> str:
    """Return what differs: ``"juniper"``, ``"power"``, ``"stop: stream"``."""
    field = difference.field
    if not difference.table:
        return _NAMES.get(field, field)
    if difference.table == "result":
        return _RESULTS[field]
    bare = _bare(field)
    if difference.table in ("charge", "botanical"):
        usual = field in ("volume_l", "mass_g", "pieces")
        return difference.name if usual else f"{difference.name}: {bare}"
    return f"{difference.table}: {bare}"


def _bare(field: str) -> str:
    of_size = re.fullmatch(r"sizes\.(\d+)\.(size_l|count)", field)
    if of_size:
        size = "size" if of_size[1] == "1" else f"size {of_size[1]}"
        return size if of_size[2] == "size_l" else f"jars of {size}"
    for ending in _ENDINGS:
        if field.endswith(ending):
            return field.removesuffix(ending).replace("_", " ").replace(".", " ")
    return field.replace("_", " ").replace(".", " ").replace("abv", "strength").strip()


def value_of(difference: Difference, value: Value) -> str:
    """Return one side of a difference; a dash for nothing."""
    if value is None:
        return "-"
    if difference.field == "jars_kept":
        return format_numbers(int(number) for number in str(value).split(","))
    if difference.field == "stop":
        return _bare(str(value))
    if isinstance(value, str):
        return " ".join(value.replace("_", " ").split())
    if difference.field.rpartition(".")[2] in _SHARES:
        return format_share(value)
    if difference.field == "pieces":
        return pieces(value)
    return quantity(value, difference.unit)


def quantity(value: float, unit: str) -> str:
    """Return a number with its unit."""
    writers: dict[str, Any] = {
        "L": format_volume,
        "g": format_mass,
        "% vol": format_abv,
        "min": format_minutes,
        "W": format_power,
        "hPa": format_pressure,
        "°C": format_temperature,
    }
    if unit in writers:
        return str(writers[unit](value))
    if unit == "mg/L":
        return f"{oil(value)} mg/L"
    return f"{value:.4g} {unit}".strip()
