"""From the session's readings to quantities with their errors, by kind of reading."""

from __future__ import annotations

import math

from fitkit import session
from fitkit.assessment.visit import Visit
from fitkit.calculations.readings import Quantity, Spread, exact, mean_of, pooled_spread
from fitkit.session.positions import counting, value_at

__all__ = ["Inputs"]


class Inputs:
    """Quantities of one visit.

    Parameters
    ----------
    visit : Visit
        The visit; its house rules and the fitter's study give the errors.
    """

    def __init__(self, visit: Visit) -> None:
        self.visit = visit
        self._spread = visit.house.rules.spread

    def readings(self, dotted: str) -> tuple[float, ...]:
        """Return the readings at `dotted` that are not struck; a single value counts as one reading."""
        value = value_at(self.visit.session, dotted)
        if value is None:
            return ()
        if isinstance(value, tuple):
            return session.kept(self.visit.session, dotted)
        return (float(value),)

    def quantity(self, dotted: str, *, place: bool = True) -> Quantity | None:
        """Return the mean of the readings at `dotted`, None when not measured.

        Parameters
        ----------
        dotted : str
            Path in the session file.
        place : bool
            Whether a cleat setback or slot end carries the mark's own error. False for a difference between two
            settings read from one mark.
        """
        readings = self.readings(dotted)
        if not readings:
            return None
        kind = session.describe(dotted).kind
        if kind is None:
            return exact(readings[0]) if len(readings) == 1 else exact(math.fsum(readings) / len(readings))
        mark = self._place(dotted, len(readings)) if place and kind == "cleat_setback" else None
        return mean_of(readings, self._spread_of(dotted, kind), place=mark)

    def positions(self) -> list[str]:
        """Return the dotted paths of the positions that count, in order."""
        return counting(self.visit.session)

    def current(self, field: str) -> str | None:
        """Return the path at which `field` (``left.cleat_toe_out_deg``) stands in the current position.

        A blank in one position means as in the one before it, down to as found; None where it is nowhere.
        """
        paths = [f"{position}.{field}" for position in reversed(self.positions())]
        return next((path for path in paths if self.readings(path)), None)

    def now(self, field: str, *, bike: str | None = None) -> Quantity | None:
        """Return `field` of the current position, else what stands at `bike` in the session, None where nowhere."""
        path = self.current(field)
        if path is None:
            return self.quantity(bike) if bike else None
        return self.quantity(path)

    def own_setback(self, position: str, side: str) -> float | None:
        """Return where a position itself puts one cleat [mm]: as read, or as found plus the distance moved."""
        read = self.number(f"{position}.{side}.cleat_setback_mm")
        if read is not None or position == "as_found":
            return read
        moved, found = self.number(f"{position}.moved_mm.{side}"), self.number(f"as_found.{side}.cleat_setback_mm")
        return None if moved is None or found is None else found + moved

    def setback_now(self, side: str) -> float | None:
        """Return where one cleat stands in the current position [mm]; a blank means as in the position before."""
        places = (self.own_setback(position, side) for position in reversed(self.positions()))
        return next((place for place in places if place is not None), None)

    def number(self, dotted: str) -> float | None:
        """Return the mean at `dotted` as a plain number, None when not measured."""
        quantity = self.quantity(dotted)
        return None if quantity is None else quantity.value

    def number_now(self, field: str, *, bike: str | None = None) -> float | None:
        """Return `now` as a plain number, None where nowhere."""
        quantity = self.now(field, bike=bike)
        return None if quantity is None else quantity.value

    def word_now(self, field: str) -> str | None:
        """Return a word, such as a part's id, of the current position, None where it is nowhere."""
        for position in reversed(self.positions()):
            word = value_at(self.visit.session, f"{position}.{field}")
            if word is not None:
                return word
        return None

    def _place(self, dotted: str, n: int) -> Spread:
        study = self.visit.study
        own = (
            Spread(study.place_sd_mm, study.place_df)
            if study
            else Spread(self.visit.house.rules.mark_place_sd_mm, math.inf)
        )
        anew = self.visit.session.taken.get(dotted) == "mark_found_anew" and n > 1
        # Found anew each time, half of the mark's error already shows in the readings' own spread.
        return Spread(own.sd / 2, own.df) if anew else own

    def _spread_of(self, dotted: str, kind: str) -> Spread:
        groups = [self.readings(path) for path in both_sides(dotted)]
        study = self.visit.study if kind == "cleat_setback" else None
        return pooled_spread(
            groups,
            house_sd=self._house_sd(kind, groups),
            study_sd=study.spread_sd_mm if study else None,
            study_df=study.spread_df if study else None,
        )

    def _house_sd(self, kind: str, groups: list[tuple[float, ...]]) -> float:
        if kind == "cleat_setback":
            return self._spread.cleat_setback_mm
        if kind == "pelvis":
            return self._spread.pelvis_mm
        if kind == "angle":
            return self._spread.angle_deg
        values = [abs(value) for group in groups for value in group]
        is_short = math.fsum(values) / len(values) < self.visit.house.rules.short_length_below_mm
        return self._spread.short_length_mm if is_short else self._spread.long_length_mm


def both_sides(dotted: str) -> list[str]:
    """Return the path on the left and on the right foot, or the path alone where it has no side."""
    steps = dotted.split(".")
    for i, step in enumerate(steps):
        if step in ("left", "right"):
            return [".".join([*steps[:i], side, *steps[i + 1 :]]) for side in ("left", "right")]
    return [dotted]
