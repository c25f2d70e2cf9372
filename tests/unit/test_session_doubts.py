"""What is possible alone and hardly together is asked again."""

import json

import pytest

from fitkit import session
from fitkit.session.doubts import doubts

SLOTS = {"left": {"least_cleat_setback_mm": 6, "greatest_cleat_setback_mm": 19}}
BASE = {
    "format": "cleat-stance-session",
    "version": 1,
    "client_id": "rider-001",
    "visit_date": "2026-03-02",
    "setup": "road",
    "shoes": SLOTS,
}


def asked(**fields):
    return [str(doubt) for doubt in doubts(session.parse(json.dumps({**BASE, **fields}).encode()))]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (
            {"as_found": {"left": {"cleat_setback_mm": [1.1, 1.1]}}},
            "at 1 mm; expected 6 or more, where the slots begin",
        ),
        (
            {"as_found": {"left": {"cleat_setback_mm": [11]}}, "decided": {"moved_mm": {"left": 20}}},
            "at 31 mm; expected 19 or less, where the slots end",
        ),
        (
            {
                "as_found": {"left": {"cleat_setback_mm": [11]}},
                "decided": {"moved_mm": {"left": -4}},
                "as_left": {"left": {"cleat_setback_mm": [15]}},
            },
            "is 4 mm from as found; expected -4.0, as decided",
        ),
        (
            {"rider": {"left": {"foot_length_mm": [267]}, "right": {"foot_length_mm": [246]}}},
            "is 267.0; expected 246.0, as the right one, within 10 mm",
        ),
        ({"follow_up_due": "2026-03-01"}, 'is "2026-03-01"; expected a day after 2026-03-02'),
    ],
)
def test_what_hardly_agrees_is_asked(fields, words):
    assert any(words in line for line in asked(**fields)), asked(**fields)


def test_what_agrees_is_not_asked():
    feet = {"left": {"foot_length_mm": [267]}, "right": {"foot_length_mm": [261]}}
    assert not asked(rider=feet, follow_up_due="2026-04-13")
    found, left = {"left": {"cleat_setback_mm": [11]}}, {"left": {"cleat_setback_mm": [15]}}
    assert not asked(as_found=found, decided={"moved_mm": {"left": 4}}, as_left=left)
