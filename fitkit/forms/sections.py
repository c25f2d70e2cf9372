"""Which fields stand in which part of which notebook: `templates/form_layout.toml`, read and checked here."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from fitkit.files import template
from fitkit.house.rules import problems_of
from fitkit.problems import Problem, Problems, near, said
from fitkit.session import fields
from fitkit.session.paths import get, steps_of


class Section(BaseModel):
    """One part of a notebook."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    fields: tuple[str, ...] = ()  # paths in their order: the short set
    entries: tuple[str, ...] = ()  # paths of lists of entries, below the fields
    folds: tuple[Fold, ...] = ()  # further ones, shown when asked for or when they hold something

    def with_groups(self, groups: dict[str, tuple[str, ...]]) -> Section:
        """Return the section with all fields of a group in the place of its name, as in ``as_left.<torques>``."""
        paths = []
        for path in self.fields:
            above, _, name = path.removesuffix(">").partition("<")
            paths += [f"{above}{field}" for field in groups[name]] if name in groups else [path]
        folds = tuple(fold.with_groups(groups) for fold in self.folds)
        return self.model_copy(update={"fields": tuple(paths), "folds": folds})

    def parts(self) -> Iterator[Section]:
        """Yield the section and all that is folded in it."""
        yield self
        for fold in self.folds:
            yield from fold.parts()


class Fold(Section):
    """Further fields and lists under what they give."""

    gives: str  # "for the saddle"
    after_a_visit: bool = False  # whether it is shown where there was a visit before


class Entries(Section):
    """A list of entries: complaints, signs, trials; paths are those inside one entry, the first fields name it."""

    title: str  # what the list is called
    one: str  # what one of them is called
    may_go: bool = True  # whether an entry can be taken out again


class Layout(BaseModel):
    """What all forms ask."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    groups: dict[str, tuple[str, ...]]  # fields that stand in several positions, by the group's name
    needed: dict[str, tuple[str, ...]]  # ends of paths, by what these fields are needed for
    lacks: dict[str, tuple[str, ...]]  # results by the purpose they serve
    behind: dict[str, tuple[str, ...]]  # fields by what a result says that it needs
    notebooks: dict[str, tuple[str, ...]]  # names of sections by the notebook that shows them
    sections: dict[str, Section]  # by the name under which a notebook shows it
    entries: dict[str, Entries]  # by the path of the list, with ``*`` for a place in a list above it

    @model_validator(mode="after")
    def _expand(self) -> Layout:
        for table in (self.sections, self.entries):
            table.update({name: section.with_groups(self.groups) for name, section in table.items()})
        return self


@cache
def layout() -> Layout:
    """Return the layout of the forms, read once for a notebook."""
    return read_layout(template("form_layout.toml"))


def read_layout(path: Path) -> Layout:
    """Read the layout of the forms; raises Problems with everything wrong in it."""
    try:
        found = Layout.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except ValidationError as error:
        names = {name for model in (Layout, Entries, Fold) for name in model.model_fields}
        raise Problems(path, problems_of(error, known=names)) from None
    except ValueError as error:
        raise Problems(path, [Problem("the file", f"no TOML ({error})", "TOML like the shipped file")]) from None
    if problems := list(_problems(found)):
        raise Problems(path, problems)
    return found


def _problems(found: Layout) -> Iterator[Problem]:
    """Yield every path that leads to no field or stands twice, and every list that is not declared."""
    known, seen = {info.dotted for info in fields()}, set()
    bare = {re.sub(r"\.(left|right)\b", "", f".{path}") for path in known}
    for word, ends in found.needed.items():
        for end in ends:
            if not any(path.endswith(f".{end}") for path in bare):
                yield Problem(f"needed.{word}", f"with {said(end)}", "ends of the paths of fields", near(end, known))
    places = [(f"sections.{name}", "", part) for name, section in found.sections.items() for part in section.parts()]
    places += [(f"entries.{name}", f"{name}.*.", part) for name, lst in found.entries.items() for part in lst.parts()]
    for where, above, section in places:
        for row in section.fields:
            for path in paths_of(row.removeprefix("taken:"), above):
                if path not in known:
                    hint = near(path, known)
                    yield Problem(where, f"with {said(row)}", "fields of the session, and groups of this file", hint)
            if (row, above) in seen:
                yield Problem(where, f"with {said(row)} again", "each field once", "Take one of the two out.")
            seen.add((row, above))
        for name in section.entries:
            if name not in found.entries:
                yield Problem(where, f"with the list {said(name)}", f"one of {', '.join(found.entries)}")


def paths_of(pattern: str, base: str = "") -> tuple[str, ...]:
    """Return the one or two paths of a row: ``{side}`` becomes left and right, ``taken:`` how repeats were taken."""
    above = "taken." if pattern.startswith("taken:") else ""
    path = f"{above}{base}{pattern.removeprefix('taken:')}"
    return tuple(path.replace("{side}", side) for side in ("left", "right")) if "{side}" in path else (path,)


def needed_for(dotted: str) -> str:
    """Return what a field is needed for, "cleat, saddle"; nothing where no result goes by it."""
    bare = "." + ".".join(step for step in dotted.split(".") if step not in ("left", "right"))
    return ", ".join(word for word, ends in layout().needed.items() if bare.endswith(tuple(f".{end}" for end in ends)))


@cache
def notebook_of(dotted: str) -> str:
    """Return the name of the notebook that asks for a field; not for those inside lists."""
    asked = {
        path: notebook
        for notebook, names in layout().notebooks.items()
        for name in names
        for part in layout().sections[name].parts()
        for row in part.fields
        for path in paths_of(row)
    }
    return asked[dotted]


@cache
def _required() -> dict[str, tuple[str, ...]]:
    """Return the names of the fields without which a group cannot be saved, by the pattern of its path."""
    found: dict[str, tuple[str, ...]] = {}
    for info in fields():
        group, _, name = info.dotted.rpartition(".")
        if info.is_required and group:
            found[group] = (*found.get(group, ()), name)
    return found


def absent_group(tree: dict, dotted: str) -> tuple[str, tuple[str, ...]] | None:
    """Return the innermost group around a field that is not in the file yet, and the fields it cannot be saved without.

    None where all that have such fields are there.
    """
    steps = steps_of(dotted)
    for end in range(len(steps) - 1, 0, -1):
        names = _required().get(".".join("*" if isinstance(step, int) else step for step in steps[:end]))
        if names and get(tree, steps[:end]) is None:
            group = ".".join(map(str, steps[:end]))
            return group, tuple(f"{group}.{name}" for name in names)
    return None
