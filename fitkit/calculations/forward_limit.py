"""How far forward this rider stays steady: a bracket from trials, which needs no model; from many trials a hinge too.

Cleat setbacks are behind the first-MTP mark [mm]: a smaller one is further forward. Unsteadiness is scored 0 to 10
by the words of the vocabulary. What was seen is listed as it was seen: it names no cause, no illness and no setting.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fitkit.calculations.readings import Interval
from fitkit.words import halves

SAME_MM = 1.0  # house choice: settings with smaller gaps count as one
ROUNDING_MM = 1e-6  # setbacks computed by two ways are the same when only rounding parts them
DISAGREE_BY = 4.0  # house choice: scores of one setback this far apart are said
RISE_PER_MM = 0.5  # house choice: what the mean score changes by about the limit [points a mm]


@dataclass(frozen=True)
class ScoredTrial:
    """One trial of one side, in the order ridden."""

    cleat_setback_mm: float | None  # cleat setback of that trial [mm]
    unsteadiness: tuple[float, ...] = ()  # scores [0 to 10] that are not struck
    saddle_corrected: bool | None = None  # whether the saddle was corrected for it; None is not recorded
    seen: tuple[str, ...] = ()  # what was seen in it, by the words of the session
    smooth_at_bottom: float | None = None  # how smoothly the crank passes the bottom [0 to 10]

    def __post_init__(self) -> None:
        for score in self.unsteadiness:
            if not 0 <= score <= 10:
                raise ValueError(f"unsteadiness is {score}; expected 0 to 10")
        if self.cleat_setback_mm is not None and not math.isfinite(self.cleat_setback_mm):
            raise ValueError(f"cleat_setback_mm is {self.cleat_setback_mm}; expected a finite number or None")

    @property
    def score(self) -> float | None:
        """Mean of the scores [0 to 10], None where nothing was scored."""
        return math.fsum(self.unsteadiness) / len(self.unsteadiness) if self.unsteadiness else None


@dataclass(frozen=True)
class ScoredSetting:
    """All trials at one cleat setback: their numbers in the order ridden, scores, and whether unsteady on the mean."""

    cleat_setback_mm: float
    trials: tuple[int, ...]
    scores: tuple[float, ...]
    is_unsteady: bool


@dataclass(frozen=True)
class Bracket:
    """Between which cleat setbacks the forward limit lies [mm], what is needed, what it rests on.

    There is never a value between the ends: a bracket of trials says no more than its ends.
    """

    low_mm: float | None
    high_mm: float | None
    needs: str | None
    settings: tuple[ScoredSetting, ...]
    rests_on: str
    notes: tuple[str, ...] = ()


def _settings_of(
    trials: Sequence[ScoredTrial], *, unsteady_from: float, same_mm: float = SAME_MM
) -> tuple[ScoredSetting, ...]:
    """Return the scored trials gathered by cleat setback, at the mean of each, the most forward first."""
    if not 0 < unsteady_from <= 10:
        raise ValueError(f"unsteady_from is {unsteady_from}; expected above 0, up to 10")
    gathered: list[list[int]] = []
    for number, trial in along_setbacks(trials):
        if trial.score is None:
            continue
        gap = trial.cleat_setback_mm - trials[gathered[-1][-1]].cleat_setback_mm if gathered else math.inf
        if gap < max(same_mm, ROUNDING_MM):
            gathered[-1].append(number)
        else:
            gathered.append([number])
    settings = []
    for numbers in gathered:
        at = math.fsum(trials[number].cleat_setback_mm for number in numbers) / len(numbers)
        in_order = tuple(sorted(numbers))
        scores = tuple(trials[number].score for number in in_order)
        settings.append(ScoredSetting(at, in_order, scores, math.fsum(scores) / len(scores) >= unsteady_from))
    return tuple(settings)


def bracket(trials: Sequence[ScoredTrial], *, unsteady_from: float, same_mm: float = SAME_MM) -> Bracket:
    """Return between which setbacks this side becomes unsteady.

    Parameters
    ----------
    trials : sequence of ScoredTrial
        Trials of one side in the order ridden; one without a saddle correction counts, and is said.
    unsteady_from : float
        House rule: mean score [0 to 10] from which a setting counts as unsteady.
    same_mm : float
        House rule: setbacks with gaps under this count as one setting, scores pooled [mm].

    Notes
    -----
    Derived from this rider's own trials. Not widened by the mark's error: both ends share one mark.

    Examples
    --------
    >>> ridden = [ScoredTrial(8, (7,)), ScoredTrial(12, (5,)), ScoredTrial(16, (1,)), ScoredTrial(20, (1,))]
    >>> found = bracket(ridden, unsteady_from=4)
    >>> found.low_mm, found.high_mm, found.needs
    (12.0, 16.0, None)
    """
    settings = _settings_of(trials, unsteady_from=unsteady_from, same_mm=same_mm)
    low = max((s.cleat_setback_mm for s in settings if s.is_unsteady), default=None)
    steady = [s.cleat_setback_mm for s in settings if not s.is_unsteady]
    high = min((at for at in steady if low is not None and at > low), default=None)
    in_front = [at for at in steady if low is not None and at < low]
    notes = list(_notes(trials, settings))
    needs = _needs(settings, low, high, in_front)
    if in_front:
        contrary = ", ".join(halves(at) for at in in_front)
        notes.append(f"contradictory: steady at {contrary} mm, in front of unsteady at {halves(low)} mm")
    elif needs is None and not any(_was_returned_to(settings, end) for end in (low, high)):
        notes.append(f"no return trial yet: ride {halves(low)} mm once more, to see that not the order made it")
    low = low if high is not None else None
    return Bracket(low, high, needs, settings, _rests_on(trials, settings), tuple(notes))


def hit_rate(
    settings: Sequence[ScoredSetting], *, unsteady_from: float, score_sd: float, place_sd_mm: float, more_looks: int = 0
) -> float:
    """Return how often a bracket of such settings holds the limit [0 to 1], when readings and scores have errors.

    Parameters
    ----------
    settings : sequence of ScoredSetting
        The most forward first; all unsteady ones ahead of all steady ones, one or more of each.
    unsteady_from : float
        House rule: mean score [0 to 10] from which a setting counts as unsteady. The limit is where the mean score
        of very many looks passes it.
    score_sd : float
        House rule: SD of one look's score [points].
    place_sd_mm : float
        House rule: SD of one reading of a cleat setback from one mark [mm], one a look.
    more_looks : int
        Further looks at either end of the bracket.

    Notes
    -----
    Derived, by the theorem of total probability: over limits that are all equally likely about the settings ridden,
    the chance that these settings come out unsteady and steady as they did and the limit lies between the ends, over
    the chance that they come out so. Scores are normal about a line of `RISE_PER_MM`, cut off at 0 and 10; places are
    normal about what was read. Settings are taken as ridden, their own scores beside the count of looks are not used.
    """
    spread = np.linspace(-4, 4, 65)
    weight = np.exp(-(spread**2) / 2) / np.exp(-(spread**2) / 2).sum()
    last = max(at for at, setting in enumerate(settings) if setting.is_unsteady)
    at_mm = [setting.cleat_setback_mm for setting in settings]
    limit_mm = np.linspace(at_mm[0] - 10, at_mm[-1] + 10, 1001)[:, None]
    seen = held = np.ones(limit_mm.size)
    for at, setting in enumerate(settings):
        looks = len(setting.trials) + (more_looks if at in (last, last + 1) else 0)
        place_mm = at_mm[at] + place_sd_mm / math.sqrt(looks) * spread
        score = np.clip(unsteady_from + RISE_PER_MM * (limit_mm - place_mm), 0, 10)
        unsteady = special.ndtr((score - unsteady_from) * math.sqrt(looks) / score_sd)
        chance = (unsteady if at <= last else 1 - unsteady) @ weight
        seen = seen * chance
        is_inside = limit_mm[:, 0] >= at_mm[at] if at == last else limit_mm[:, 0] <= at_mm[at] if at == last + 1 else 1
        held = held * chance * is_inside
    return float(held.sum() / seen.sum())


def hit_rate_words(
    settings: Sequence[ScoredSetting], *, unsteady_from: float, score_sd: float, place_sd_mm: float
) -> str:
    """Return in words how often such a bracket holds the limit, and what one more look at either end would make it."""
    rule = {"unsteady_from": unsteady_from, "score_sd": score_sd, "place_sd_mm": place_sd_mm}
    now, then = (min(round(10 * hit_rate(settings, **rule, more_looks=looks)), 9) for looks in (0, 1))
    errors = f"a reading (SD {place_sd_mm:g} mm) and a score (SD {score_sd:g} point) have the errors of the house rules"
    said = f"about {now} in 10 such brackets hold the limit between their ends, where {errors}"
    if now < 5:
        said += "; settings further apart hold it more often"
    if then == now:
        return said
    last = max(at for at, setting in enumerate(settings) if setting.is_unsteady)
    low, high = (halves(settings[at].cleat_setback_mm) for at in (last, last + 1))
    return f"{said}; a further look at {low} and {high} makes it {then} in 10"


def _needs(
    settings: Sequence[ScoredSetting], low: float | None, high: float | None, in_front: Sequence[float]
) -> str | None:
    if not settings:
        return "a trial with a score of unsteadiness"
    if low is None:
        return "a trial further forward"
    if in_front:
        return "return trial"
    return "a trial further back" if high is None else None


def _was_returned_to(settings: Sequence[ScoredSetting], setback_mm: float) -> bool:
    """Whether this setting was ridden again after another one in between."""
    own = next(setting.trials for setting in settings if setting.cleat_setback_mm == setback_mm)
    others = [number for setting in settings for number in setting.trials if setting.cleat_setback_mm != setback_mm]
    return any(own[0] < number < own[-1] for number in others)


def _notes(trials: Sequence[ScoredTrial], settings: Sequence[ScoredSetting]) -> tuple[str, ...]:
    notes = []
    for number, trial in enumerate(trials):
        if trial.score is not None and trial.cleat_setback_mm is None:
            notes.append(f"trial {number + 1} has no cleat setback and does not count")
        elif trial.cleat_setback_mm is not None and trial.score is None:
            notes.append(f"trial {number + 1} at {halves(trial.cleat_setback_mm)} mm has no score and does not count")
        elif trial.score is not None and trial.saddle_corrected is not True:
            how = "without a saddle correction" if trial.saddle_corrected is False else "saddle correction not recorded"
            notes.append(f"trial {number + 1} at {halves(trial.cleat_setback_mm)} mm: {how}")
    for setting in settings:
        if max(setting.scores) - min(setting.scores) >= DISAGREE_BY:
            scores = ", ".join(f"{score:g}" for score in setting.scores)
            notes.append(f"scores at {halves(setting.cleat_setback_mm)} mm disagree: {scores}")
    return tuple(notes)


def _rests_on(trials: Sequence[ScoredTrial], settings: Sequence[ScoredSetting]) -> str:
    """Return in words what the bracket rests on."""
    words = []
    for name, is_unsteady in (("unsteady", True), ("steady", False)):
        at = [f"{halves(s.cleat_setback_mm)} ({len(s.trials)})" for s in settings if s.is_unsteady is is_unsteady]
        words.append(f"{name} at {', '.join(at)} mm" if at else f"{name} nowhere")
    counted = [number for setting in settings for number in setting.trials]
    uncorrected = sum(trials[number].saddle_corrected is not True for number in counted)
    tail = f"; {uncorrected} without a recorded saddle correction" if uncorrected else ""
    return f"{'; '.join(words)}; trials in brackets, {len(counted)} in all{tail}"


def along_setbacks(trials: Sequence[ScoredTrial]) -> tuple[tuple[int, ScoredTrial], ...]:
    """Return the trials with a cleat setback by number, the most forward first, each with its own observations."""
    placed = [(number, trial) for number, trial in enumerate(trials) if trial.cleat_setback_mm is not None]
    return tuple(sorted(placed, key=lambda pair: (pair[1].cleat_setback_mm, pair[0])))


# --- Where unsteadiness begins to rise: told only with both ends of its interval inside the setbacks ridden -----------

LEAST_SETBACKS = 5  # house choice
LEAST_REPEATS = 3  # house choice
NOT_FOUND = "not found"
SCORED_TO = 1.0  # house choice: scores are given in whole points, so that none is known better than to half of one
STEPS = 2000  # candidate breaks over the setbacks ridden; the best of them and the ends are then refined


@dataclass(frozen=True)
class Hinge:
    """The break [mm] with its 95 % interval and the rise forward of it [points a mm]; without them what is needed.

    `residual_sum_of_squares` [points squared] is that of the best hinge, told or not.
    """

    break_mm: Interval | None
    rise_per_mm: float | None
    residual_sum_of_squares: float | None
    needs: str | None = None


def hinge(*, cleat_setback_mm: Sequence[float], unsteadiness: Sequence[float]) -> Hinge:
    """Return the setback forward of which unsteadiness rises; behind it the score is taken to be level.

    Parameters
    ----------
    cleat_setback_mm : sequence of float
        Cleat setback of each trial [mm].
    unsteadiness : sequence of float
        Its score [0 to 10].

    Raises
    ------
    ValueError
        If the two differ in length or hold a number that is not finite.

    Notes
    -----
    Fitted by `two_lines`. Told only where both ends of the interval lie inside the setbacks ridden and the score
    rises forward; a straight line, or no relation, is "not found". Scores cut off at 0 pull the break forward, by
    about half a millimetre where a steady rider scores 0. Scores that fit perfectly are still known only to whole
    points.
    """
    _, repeats = np.unique(np.round(np.asarray(cleat_setback_mm, dtype=float)), return_counts=True)
    enough = int(np.count_nonzero(repeats >= LEAST_REPEATS))
    if enough < LEAST_SETBACKS:
        wanted = f"{LEAST_SETBACKS} setbacks with {LEAST_REPEATS} trials each"
        return Hinge(None, None, None, f"{wanted}; found {enough}")
    found = two_lines(cleat_setback_mm, unsteadiness, is_flat_behind=True, least_sd=SCORED_TO / math.sqrt(12))
    if found.break_mm is None or not found.rise_per_mm > 0:
        return Hinge(None, None, found.residual_sum_of_squares, NOT_FOUND)
    return found


def two_lines(x: Sequence[float], y: Sequence[float], *, is_flat_behind: bool, least_sd: float = 0.0) -> Hinge:
    """Return the breakpoint of a segmented regression: two lines that meet, fitted by least squares.

    Parameters
    ----------
    x, y : sequence of float
        Points [x in mm, y in points].
    is_flat_behind : bool
        Whether the line above the break is level; if not, it has a slope of its own.
    least_sd : float
        The least the points are taken to scatter by [points], for the interval.

    Raises
    ------
    ValueError
        If the two differ in length, hold fewer than six points or one that is not finite.

    Notes
    -----
    y = level + rise max(break - x, 0), plus slope x where the line above the break is not level. For a given break
    this is a linear least-squares fit, so that the residual sum of squares over all breaks is exact and the best of
    them the global one. The interval holds every break that an F test with 1 and n - p degrees of freedom does not
    refuse at 5 %, from the least of them to the greatest; there is none where it reaches an end of the points. The
    usual standard error gives too narrow an interval at the sample sizes of a visit.

    References
    ----------
    Hinkley 1971, J Am Stat Assoc 66:736 (two lines that meet); Bates and Watts 1988, Nonlinear Regression
    Analysis, 6.1 (profile of the sum of squares).
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if x.shape != y.shape or x.size < 6 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError(f"{x.size} setbacks and {y.size} scores; expected six or more of each, as many, all finite")
    profile = _Profile(x, y, is_flat_behind=is_flat_behind)
    best = profile.best()
    interval = profile.interval(best, least_sd)
    rss = profile.rss(best)
    return Hinge(None, None, rss, NOT_FOUND) if interval is None else Hinge(interval, profile.rise(best), rss)


class _Profile:
    """The residual sum of squares over all breaks, the other coefficients being the best ones for each."""

    def __init__(self, x: np.ndarray, y: np.ndarray, *, is_flat_behind: bool) -> None:
        others = np.ones((x.size, 1)) if is_flat_behind else np.column_stack([np.ones_like(x), x])
        self._q, self._x = np.linalg.qr(others)[0], x
        self._y = self._free(y)
        self._df = x.size - others.shape[1] - 2  # rise and break are coefficients too
        # At the very ends a hinge with a slope of its own behind is no hinge, and has no rise.
        self._breaks = np.linspace(x.min(), x.max(), STEPS + 1)[1:-1]
        self._rss = self._rss_of(self._breaks)

    def _free(self, values: np.ndarray) -> np.ndarray:
        """Return what the level, and the slope where there is one, cannot explain; one column a set of values."""
        return values - self._q @ (self._q.T @ values)

    def rise(self, at: float) -> float:
        arm = self._free(np.maximum(at - self._x, 0))
        return float(arm @ self._y / (arm @ arm))

    def rss(self, at: float) -> float:
        return float(self._rss_of(np.array([at]))[0])

    def _rss_of(self, breaks: np.ndarray) -> np.ndarray:
        arms = self._free(np.maximum(breaks - self._x[:, None], 0))
        # Where the fit is perfect, rounding would take it below 0.
        return np.maximum(self._y @ self._y - (self._y @ arms) ** 2 / (arms**2).sum(axis=0), 0.0)

    def best(self) -> float:
        from scipy import optimize  # few visits come this far, and its import makes each form wait

        least = int(self._rss.argmin())
        about = self._breaks[max(least - 1, 0)], self._breaks[min(least + 1, self._breaks.size - 1)]
        found = optimize.minimize_scalar(self.rss, bounds=about, method="bounded", options={"xatol": 1e-9})
        return float(found.x if found.fun < self._rss[least] else self._breaks[least])

    def interval(self, best: float, least_sd: float) -> Interval | None:
        """Return the break with its 95 % interval, None where that reaches an end of the setbacks ridden."""
        from scipy import optimize  # see above

        variance = max(self.rss(best) / self._df, least_sd**2)
        limit = self.rss(best) + variance * special.fdtri(1, self._df, 0.95)
        held = np.flatnonzero(self._rss <= limit)
        if not held.size and limit == self.rss(best):
            return Interval(best, best, best)
        if not held.size or held[0] == 0 or held[-1] == self._breaks.size - 1:
            return None
        low, high = (
            optimize.brentq(lambda at: self.rss(at) - limit, *self._breaks[[inner, outer]])
            for inner, outer in ((held[0], held[0] - 1), (held[-1], held[-1] + 1))
        )
        return Interval(best, float(low), float(high))
