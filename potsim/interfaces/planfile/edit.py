"""A plan file changed where it stands: the author's comments, order and layout stay."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from typing import Any

from potsim.errors import RequestError
from potsim.interfaces.planfile.write import inlined

Steps = tuple[str | int, ...]

# Characters that TOML does not allow: they cannot be the author's.
_FROM, _TO = "\x02", "\x03"
COMMENT_WIDTH = 96


class Edit:
    """The text of a plan file under change.

    Parameters
    ----------
    text : str
        TOML that has been read without a refusal.
    name : str
        What to call it in refusals.

    Raises
    ------
    RequestError
        If its layout would not survive.
    """

    def __init__(self, text: str, name: str) -> None:
        import tomlkit

        text = text.removeprefix("\ufeff")
        self._name = name
        self._line = "\r\n" if "\r\n" in text else "\n"
        self._end: list[str] = []
        self._top: list[str] = []
        self._doc: Any = tomlkit.parse(text)
        if tomlkit.dumps(self._doc) != text:
            raise self.refuse("tables of one name stand apart", "Put all [[botanical]] together, and so on.")

    def refuse(self, why: str, hint: str) -> RequestError:
        """Return the refusal of a layout that cannot be changed where it stands."""
        return RequestError(f"{self._name} cannot be changed where it stands: {why}.", hint)

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
        """Set a key, new or not.

        Parameters
        ----------
        path : tuple of str or int
            Tables and rows down to the key.
        value : object
            As a TOML reader would return it.
        why : str
            Comment to be written above it.
        """
        import tomlkit

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
        """Set a key at the top of the file.

        Parameters
        ----------
        key, value : str
            The key and its text.
        after : str
            Key behind which a new one is put, if that is there; else it comes first.
        """
        import tomlkit

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
        """Add a table at the end of the file.

        Parameters
        ----------
        path : tuple of str
            Its name.
        table : dict
            Its keys.
        why : str
            Comment to be written inside, first.
        """
        import tomlkit

        name = ".".join(str(step) for step in path)
        body = tomlkit.dumps(table).rstrip("\n").split("\n")
        self._end += ["", f"[{name}]", *self._comment(why), *body]

    def append_row(self, name: str, table: Any, why: str = "") -> None:
        """Add one more ``[[name]]`` behind those that there are.

        Parameters
        ----------
        name : str
            Such as ``"botanical"``.
        table : mapping
            Its keys.
        why : str
            Comment to be written inside, first.
        """
        import tomlkit

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
        """Turn a table, a row or a key into a comment; its own comments stay as they are.

        Parameters
        ----------
        path : tuple of str or int
            What is not to count any more.
        why : str
            Comment to be written before it.
        """
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
            raise self.refuse(f"{path[-1]} is written in several places", "Write it in one place.")
        if hasattr(at, "keys") and type(at).__name__ == "Table" and (body is None or at.is_super_table()):
            raise self.refuse(
                f"[{path[0]}] has no line of its own", f"Write it as [{path[0]}] with its keys."
            )
        at.trivia.indent = "".join(f"{line}{self._line}" for line in self._comment(why)) + (
            _FROM + at.trivia.indent
        )
        last = at if body is None else body
        last.trivia.trail = _TO + last.trivia.trail

    def text(self) -> str:
        """Return the text as it has become."""
        import tomlkit

        made = re.sub(f"{_FROM}(.*?){_TO}", self._hidden, tomlkit.dumps(self._doc), flags=re.DOTALL)
        if _FROM in made or _TO in made:
            raise self.refuse(
                "a table that is to go has no line of its own", "Write it as [table] with keys."
            )
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
