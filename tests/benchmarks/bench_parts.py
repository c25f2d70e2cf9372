"""How much faster the parts search is than trying every pair: a ratio within one run.

Run by name: ``python -m pytest -s tests/benchmarks/bench_parts.py``. Brute force is given its best chance too: it
uses arrays, every right side at once for each left side, and only the criteria of the search itself.
"""

from __future__ import annotations

import time

import numpy as np

from fitkit.calculations import parts
from fitkit.calculations.parts import PartRow, SearchRules, Side

WISHES = (23.7, 17.2)
PLAY_MM = 1.0


def family_of_a_hundred():
    """Return 100 rows: 70 spindles, 24 washers, 3 extenders, 2 cranks, 1 cleat, in steps of our own."""
    rng = np.random.default_rng(7)

    def row(kind, n, adds_mm):
        by, stock = ("rider", 2) if rng.random() < 0.7 else ("workshop", int(rng.integers(0, 2)))
        mass = 110 if kind == "extender" else None
        return PartRow("A", f"{kind}-{n}", kind, adds_mm, fitted_by=by, in_stock=stock, max_rider_kg=mass)

    rows = [row("spindle", n, float(add)) for n, add in enumerate([0.0, *np.round(rng.uniform(-9, 15, 69), 2)])]
    rows += [row("washer", n, float(add)) for n, add in enumerate(np.round(rng.uniform(0.2, 3, 24), 2))]
    rows += [row("extender", n, float(add)) for n, add in enumerate((18.0, 25.0, 31.0))]
    rows += [row("crank", n, float(add)) for n, add in enumerate((-7.0, 4.0))]
    return [*rows, PartRow("A", "cleat", "cleat", play_mm=PLAY_MM)]


def columns(rows):
    """Return what every combination of one side adds, and its counts of workshop jobs, parts and parts not in stock."""
    blank = (0.0, 0, 0, 0)

    def facts(kind):
        return [
            (row.adds_mm, int(row.fitted_by != "rider"), 1, int(not row.in_stock)) for row in rows if row.kind == kind
        ]

    spindles = [blank, *facts("spindle")[1:]]
    places = (spindles, [blank, *facts("washer")], [blank, *facts("extender")])
    index = np.indices([len(place) for place in places]).reshape(3, -1)
    return np.array([np.array(place)[at] for place, at in zip(places, index, strict=True)]).sum(axis=0).T


def brute_force(rows):
    """Return the least criteria over every pair and every crank, as far as sums go: nothing is left out."""
    change_mm, *counts = columns(rows)
    cranks = [(0.0, 0, 0, 0)]
    cranks += [(r.adds_mm, 2, 2, 2 * int(not r.in_stock)) for r in rows if r.kind == "crank"]
    best = None
    for crank_mm, *job in cranks:
        without = [wish - change_mm - crank_mm for wish in WISHES]
        left_over = [np.abs(w - np.clip(w, -PLAY_MM / 2, PLAY_MM / 2)) for w in without]
        beyond = [np.where(length <= 2 + 1e-9, 0, length) for length in left_over]
        for at in range(change_mm.size):
            sums = (
                beyond[0][at] + beyond[1],
                *(count[at] + count + extra for count, extra in zip(counts, job, strict=True)),
                (np.arange(change_mm.size) != at).astype(float),
                left_over[0][at] + left_over[1],
            )
            left = np.arange(change_mm.size)
            for values in sums:
                rounded = np.round(values[left], 6)
                left = left[rounded == rounded.min()]
            key = tuple(round(float(values[left[0]]), 6) for values in sums)
            best = key if best is None or key < best else best
    return best


def test_search_of_a_hundred_parts_on_two_sides_against_brute_force():
    rows = family_of_a_hundred()
    sides = [Side(wish) for wish in WISHES]

    def search():
        return parts.choose(
            rows,
            family="A",
            left=sides[0],
            right=sides[1],
            rules=SearchRules(
                rider_kg=70.0,
                equal_within_mm=2.0,
                least_turns=8.0,
                calliper_sd_mm=0.2,
                lean_refuses=True,
                same_both_sides=True,
            ),
        )

    search()
    started = time.perf_counter()
    pair = search()
    searched = time.perf_counter()
    best = brute_force(rows)
    tried = time.perf_counter()
    left_over = sum(abs(side.remaining_mm) for side in (pair.left, pair.right))
    assert len(rows) == 100
    assert len(pair.left.chosen + pair.right.chosen) == best[2]
    assert round(left_over, 6) == best[-1]
    pairs = columns(rows).shape[1] ** 2 * 3
    print(
        f"\n{pairs:,} pairs: search {searched - started:.3f} s, brute force {tried - searched:.1f} s, "
        f"ratio 1 : {(tried - searched) / (searched - started):.0f}"
    )
