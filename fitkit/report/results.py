"""The results in words: their titles, tables of them, numbers that add up, and what is said of all of them together."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import replace

from fitkit.advice_words import needs_words, value_words
from fitkit.assessment import Assessment
from fitkit.assessment.clearances import foot_gaps
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.assessment.results import RESULTS
from fitkit.estimate import Estimate
from fitkit.report.blocks import Number, Sentences, Table
from fitkit.vocabulary import GRADE_WORDS
from fitkit.words import capital, halved

_AS_ZERO = " not recorded: counted as 0"
# Notes of these stand in a section of their own, beside the number.
_NOTED_ELSEWHERE = (".band_low", ".band_high", ".start", ".remaining", ".forward_limit")


def grouped(pairs: Iterable[tuple[Hashable, str]]) -> dict[Hashable, list[str]]:
    """Return what belongs to each key, keys in the order they came."""
    found: dict[Hashable, list[str]] = {}
    for key, each in pairs:
        found.setdefault(key, []).append(each)
    return found


def in_words(names: Iterable[str], *, most: int | None = None) -> str:
    """Return result names in words, those of both feet said once; of more than `most` how many others there are."""
    sides: dict[str, list[str]] = {}
    for name in names:
        side, _, rest = name.partition(".")
        found = sides.setdefault(rest if side in SIDES else name, [])
        found += [side] if side in SIDES else []
    alone = {name: f" ({found[0]})" if len(found) == 1 else "" for name, found in sides.items()}
    titles = [RESULTS[name].title + where for name, where in alone.items()]
    others = len(titles[most:]) if most else 0
    return "; ".join(titles[:most]) + (f" and {others} more" if others else "")


def printed(assessment: Assessment, name: str) -> str:
    """Return a result in words; a sum or a difference is that of its parts as these are printed."""
    found = assessment[name]
    if not found.is_known:
        return value_words(found)
    side, value = name.split(".")[0], found.value
    if name == "stance.width":
        value = sum(halved(assessment[f"{side}.half_stance"].value) for side in SIDES)
    elif name.endswith(".move"):
        value = _move(assessment, side)
    elif name.endswith(".gap_after"):
        value = halved(assessment[f"{side}.toe.gap"].value) - _move(assessment, side)
    return value_words(replace(found, value=value, low=min(found.low, value), high=max(found.high, value)))


def _move(assessment: Assessment, side: str) -> float:
    return halved(assessment.feet[side].set_to) - halved(assessment[f"{side}.cleat_setback.as_found"].value)


def by_side(
    assessment: Assessment,
    caption: str,
    names: Iterable[str] | Mapping[str, str],
    *,
    with_grade: bool = False,
    remark: Callable[[str, Estimate], str] = lambda name, estimate: "",
) -> Table:
    """Return a table of results, left beside right.

    `names` may give each its own words; `remark` what is said behind a number of a pair that is known.
    """
    labels = names if isinstance(names, Mapping) else {name: capital(RESULTS[name].title) for name in names}
    rows = []
    for name, label in labels.items():
        pair = [assessment[f"{side}.{name}"] for side in SIDES]
        are_known = all(estimate.is_known for estimate in pair)
        cells = []
        for side, found in zip(SIDES, pair, strict=True):
            words = printed(assessment, f"{side}.{name}") + (remark(name, found) if are_known else "")
            if (found.needs or "").startswith("clinician: "):
                words = "no advice"  # the sign that withholds it stands on the first page
            cells.append(Number(words, found.value, found.low, found.high, found.unit, found.needs))
        if with_grade:
            cells.append(" / ".join(dict.fromkeys(each.grade for each in pair if each.is_known)) or "—")
        rows.append((label, *cells))
    head = ("", "Left", "Right", "Grade") if with_grade else ("", "Left", "Right")
    return Table(caption, head, tuple(rows))


def shown_in(section: str) -> list[str]:
    """Return the names, without their side, of the results of either foot that a section shows."""
    return [name for name, row in RESULTS.items() if row.section == section and row.is_sided]


def notes(assessment: Assessment) -> Sentences:
    """Say everything that must stand beside a number and is not said above."""
    noted = [(name, each.notes) for name, each in assessment.results.items() if not name.endswith(_NOTED_ELSEWHERE)]
    said = grouped((note.rstrip("."), name.split(".")[0]) for name, notes in noted for note in notes)
    lines: dict[str, list[str]] = {}
    for note, where in said.items():
        sides = " and ".join(side for side in SIDES if side in where)
        is_zero = note.endswith(_AS_ZERO)
        at = f"{sides}: {_AS_ZERO}" if is_zero else f"{sides}: {note}" if sides else note
        lines.setdefault(at, []).append(note.removesuffix(_AS_ZERO))
    return Sentences(tuple(_note_words(at, notes) for at, notes in lines.items()) or ("Nothing.",))


def _note_words(at: str, notes: list[str]) -> str:
    """Return a note as a sentence; what was not recorded and counted as 0 stands in one for all."""
    return capital(f"{at.replace(_AS_ZERO, ', '.join(notes) + _AS_ZERO)}.")


def lacking(assessment: Assessment, *, most: int | None = None) -> Sentences:
    """Say what could not be assessed and what each needs; of what one thing would give, `most` are named."""
    needs = grouped((estimate.needs, name) for name, estimate in assessment.results.items() if estimate.needs)
    lines = [f"{capital(needs_words(need))}: {in_words(names, most=most)}." for need, names in needs.items()]
    lines += _sections_lacking(assessment)
    return Sentences(tuple(lines) or ("Nothing is lacking.",))


def _sections_lacking(assessment: Assessment) -> list[str]:
    """Say what each section without content needs."""
    visit, inputs = assessment.visit, Inputs(assessment.visit)
    has_gap = any(gap.measured for side in SIDES for gap in foot_gaps(inputs, side))
    lacking = {
        "Needs the gaps at both ends of the float: foot to crank.": not has_gap,
        "Needs a film of the rider: the knees over the stroke.": not visit.session.ride.films,
        "Needs a power file for each setting: sprints.": not visit.session.ride.power_files,
        "Needs an earlier visit of this client and set-up among the files: what changed since.": visit.previous is None
        and not visit.previous_problem,
    }
    return [words for words, is_lacking in lacking.items() if is_lacking]


def sources(assessment: Assessment) -> Table:
    """Return the source of every number, so that each can be questioned."""
    found = assessment.results.items()
    rows = grouped(((estimate.grade, estimate.source), name) for name, estimate in found if estimate.source)
    body = tuple((capital(in_words(names)), grade, source) for (grade, source), names in rows.items())
    return Table("Where each number comes from", ("Result", "Grade", "Source"), body)


def grades(assessment: Assessment) -> Sentences:
    """Say what each grade means, for those that occur."""
    used = dict.fromkeys(each.grade for each in assessment.results.values() if each.grade)
    return Sentences(tuple(f"{grade}: {GRADE_WORDS[grade]}" for grade in used))
