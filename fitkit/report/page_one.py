"""The record's first page: the visit on one A4 side, and what of it had no room there."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import shorten

from fitkit import cautions
from fitkit.advice_words import needs_words
from fitkit.assessment import Assessment
from fitkit.assessment.inputs import SIDES, Inputs
from fitkit.estimate import Estimate
from fitkit.report import cleats, results, saddle, visit
from fitkit.report.blocks import Sentences, page_template
from fitkit.report.changes import ENGLISH, changes
from fitkit.vocabulary import choice_words
from fitkit.words import capital, day, halves, plain

_SEEN = "yes"
_WISH = "Needs a wished change"  # nobody asked for one, so nothing is missing
_HEIGHTS = ("saddle_height_mm", "saddle_setback_mm", "bar_height_mm", "bar_reach_mm")
ROOM = 4  # lines of each list that the page has room for
LETTERS, _CUT = 200, " … more overleaf"  # of a remark
# Lists whose rest is told overleaf; what must not be overlooked is never cut, what is not assessed has a section.
_LISTS = {
    "complaints": "Why the rider came",
    "seen": "Seen riding, as found",
    "to_do": "Still to do",
}


@dataclass(frozen=True)
class PageOne:
    """The visit on one A4 side, block by block: words, lists of sentences, and rows of words."""

    blocks: dict

    def _repr_html_(self) -> str:
        return page_template("record_page_one.html.j2").render(page=self.blocks, room=ROOM)

    def __repr__(self) -> str:
        return "\n".join([*self.blocks["visit"], *self.blocks["first"], *self.blocks["lead"], *self.blocks["to_do"]])


def page_one(assessment: Assessment) -> PageOne:
    """Return the visit on one side: why the rider came, what is not safe, found, tried, decided, left, what waits."""
    session, signs = assessment.visit.session, visit.signs(assessment)
    is_boxed = signs.kind == "stop"
    return PageOne(
        {
            "visit": (f"{session.client_id} · {session.setup}", day(session.visit_date)),
            "signed": visit.about(assessment).lines[1].split(" · "),
            "about": [shorten(line, LETTERS, placeholder=_CUT) for line in visit.about(assessment).lines[3:]],
            "first": signs.lines if is_boxed else (),
            "signs": () if is_boxed else signs.lines,
            "complaints": _complaints(assessment),
            "riding": capital(choice_words(session.rider.riding)) if session.rider.riding else "Riding: not asked",
            "seen": _seen(assessment),
            "nothing_seen": "Nothing unusual." if session.seen_asked else "Not noted.",
            "lead": cleats.first_numbers(assessment).lines,
            "figure": cleats.soles_from_below(assessment, with_rotation=False).html,
            "cleats": _cleats(assessment),
            "reason": session.decided.note or "",
            "width": _width(assessment),
            "saddle": _saddle(assessment),
            "saddle_words": _saddle_words(assessment),
            "to_do": visit.remaining(assessment).lines[:-1],
            "lacking": [line for line in results.lacking(assessment, most=2).lines if not line.startswith(_WISH)],
            "cautions": (ENGLISH["cautions.first_ride"][0], ENGLISH("cautions.not_a_diagnosis")),
        }
    )


def overleaf(assessment: Assessment) -> Sentences:
    """Say what page one had no room for; nothing where all of it stands there."""
    blocks = page_one(assessment).blocks
    lines = [line for line, cut in zip(visit.about(assessment).lines[3:], blocks["about"], strict=True) if line != cut]
    rest = {name: [(title, each) for each in blocks[name][ROOM:]] for name, title in _LISTS.items()}
    for title, (what, then, now) in rest["complaints"]:
        lines.append(f"{title}: {what}, {f'at the last visit {then}, ' if then else ''}now {now}")
    for title, (what, *cells) in rest["seen"]:
        where = [side if cell == _SEEN else f"{side} {cell}" for side, cell in zip(SIDES, cells, strict=True) if cell]
        lines.append(f"{title}: {what}, {' and '.join(where)}")
    return Sentences((*lines, *(f"{title}: {line}" for title, line in rest["to_do"])))


# --- Why the rider came, and what was seen ----------------------------------------------------------------------------


def _complaints(assessment: Assessment) -> list[tuple[str, str, str]]:
    """Return each complaint of now and of the last visit: where and since when, how bad then and now."""
    session, previous = assessment.visit.session, assessment.visit.previous
    before, now = previous.complaints if previous else (), session.complaints
    named = {(each.region, each.side) for each in now}
    rows = []
    for each in (*now, *(gone for gone in before if (gone.region, gone.side) not in named)):
        place = (each.region, each.side)
        since = f", since {each.since}" if each.since and place in named else ""
        then = visit.severity(before, place) if previous else ""
        rows.append((f"{capital(visit.place_words(*place))}{since}", then, visit.severity(now, place)))
    return rows


def _seen(assessment: Assessment) -> list[tuple[str, str, str]]:
    """Return what was seen riding as found, left beside right, and each knee's travel on film."""
    where: dict[str, set[str]] = {}
    for entry in assessment.visit.session.seen:
        where.setdefault(entry.what, set()).update(SIDES if entry.side in ("both", None) else [entry.side])
    rows = [
        (capital(choice_words(what)), *(_SEEN if side in found else "" for side in SIDES))
        for what, found in where.items()
    ]
    travel = {
        each.side: f"{halves(each.track.travel_mm.value)} mm"
        for each in assessment.ride.filmed.knees
        if each.position == "as found" and each.track.needs is None
    }
    if travel:
        rows.append(("Knee travel on film", *(travel.get(side, "") for side in SIDES)))
    return rows


# --- Cleats, width, saddle and bars -----------------------------------------------------------------------------------


def _number(found: Estimate, unit: str = "") -> tuple[str, str]:
    """Return a number and the ends of its interval, as two cells; "not assessed" where there is none."""
    if found.is_bracket:
        return f"between {halves(found.low)} and {halves(found.high)}{unit}", ""
    if not found.is_known:
        return "not assessed", ""
    return f"{halves(found.value)}{unit}", f"{halves(found.low)} to {halves(found.high)}"


def _row(title: str, cells: dict[str, tuple[str, str]]) -> list[tuple]:
    """Return one row of either foot's cells, none where neither foot has one."""
    return [(title, *cells.values())] if any(words for words, _ in cells.values()) else []


def _cleats(assessment: Assessment) -> list[tuple]:
    """Return found, tried, band, slots, target, left and rotation of either foot, behind the joint [mm]."""

    def of_feet(name: str, unit: str = "") -> dict[str, tuple[str, str]]:
        return {side: _number(assessment[f"{side}.{name}"], unit) for side in SIDES}

    def ends(least: str, greatest: str) -> dict[str, tuple[str, str]]:
        pairs = {side: [assessment[f"{side}.cleat_setback.{end}"] for end in (least, greatest)] for side in SIDES}
        return {side: (_ends_words(*pair), "") for side, pair in pairs.items()}

    rows = [("As found", *of_feet("cleat_setback.as_found").values())]
    rows += _row("Tried", {side: (_tried(assessment, side), "") for side in SIDES})
    rows += _row("Starting band", ends("band_low", "band_high"))
    rows += _row("Slots", ends("slot_least", "slot_greatest"))
    kinds = {{"decided": "Decided", "kept": "Kept in a trial"}.get(assessment.advice[side].kind) for side in SIDES}
    title = (kinds.pop() or "Advised for today") if len(kinds) == 1 else "Decided, kept or advised"
    rows += _row(title, {side: (_target(assessment, side), "") for side in SIDES})
    if any(assessment[f"{side}.cleat_setback.as_left"].is_known for side in SIDES):
        rows.append(("As left, measured again", *of_feet("cleat_setback.as_left").values()))
    turned = {side: (_turned(assessment, side), "") for side in SIDES}
    return rows + _row("Toe-out; float still free, heel in · out", turned)


def _ends_words(low: Estimate, high: Estimate) -> str:
    if low.is_known and high.is_known:
        return f"{halves(low.value)} to {halves(high.value)}"
    return f"from {halves(low.value)}" if low.is_known else f"up to {halves(high.value)}" if high.is_known else ""


def _tried(assessment: Assessment, side: str) -> str:
    """Return "unsteady 8, 12 · steady 16, 20"."""
    settings = assessment.ride.sides[side].bracket.settings
    said = []
    for word, is_unsteady in (("unsteady", True), ("steady", False)):
        found = [halves(each.cleat_setback_mm) for each in settings if each.is_unsteady is is_unsteady]
        said += [f"{word} {', '.join(found)}"] if found else []
    return " · ".join(said)


def _target(assessment: Assessment, side: str) -> str:
    to = assessment.advice[side].next_mm
    return "" if to is None or cautions.stops_advice(assessment.visit.session) else halves(to)


def _turned(assessment: Assessment, side: str) -> str:
    toe_out = Inputs(assessment.visit).number_now(f"{side}.cleat_toe_out_deg")
    free = [assessment[f"{side}.float.free_heel_{end}"] for end in ("in", "out")]
    words = [] if toe_out is None else [f"{halves(toe_out)}°"]
    if all(each.is_known for each in free):
        words.append(" · ".join(f"{halves(each.value)}°" for each in free))
    return "; ".join(words)


def _width(assessment: Assessment) -> list[tuple]:
    rows = [("Half-stance", *(_number(assessment[f"{side}.half_stance"]) for side in SIDES))]
    wishes = {side: getattr(assessment.visit.session.wish, side).half_stance_change_mm for side in SIDES}
    rows += _row("Wished change", {side: (plain(wish) if wish else "", "") for side, wish in wishes.items()})
    # An open sign withholds the parts, whatever the search found.
    choices = {} if assessment.parts is None else assessment.choices
    chosen = {side: ", ".join(choice.chosen) or "none" for side, choice in choices.items()}
    rows += _row("Parts for it", {side: (chosen.get(side, ""), "") for side in SIDES})
    turns = [assessment[f"{side}.thread.turns"] for side in SIDES]
    return rows + ([("Thread engaged, turns", *map(_number, turns))] if any(each.is_known for each in turns) else [])


def _saddle(assessment: Assessment) -> list[tuple[str, str, str]]:
    """Return saddle and bars as found and as the rider leaves, what is known of them."""
    return [(change.what, change.before, change.now) for change in changes(assessment.visit) if change.name in _HEIGHTS]


def _saddle_words(assessment: Assessment) -> str:
    """Return what the moved cleat asks of saddle and bars in one sentence."""
    down, bar = assessment["saddle.height_only.down"], assessment["bar.height_only.down"]
    if not down.is_known:
        return f"What the cleats ask of the saddle: not assessed, {needs_words(down.needs)}."
    if not saddle.is_anything_moved(assessment):
        return "No cleat moves, so nothing is asked of saddle and bars."
    if saddle.assumes_dropping(assessment):
        return "No saddle height is advised: ride and measure first."
    bars = f", bars {saddle.how_far(bar)}" if bar.is_known else ""
    asked = f"saddle {saddle.how_far(down)}{bars}"
    return f"The cleats ask: {asked}; measure the knee again after riding.{saddle.done_words(assessment)}"
