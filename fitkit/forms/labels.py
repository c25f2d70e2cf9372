"""The fixed words of a session file as a person reads them, and fields with their unit."""

from __future__ import annotations

from fitkit.cautions import SIGN_WORDS
from fitkit.session import SIGNS, FieldInfo

__all__ = ["choices", "label", "title", "titled", "unit_words"]

_WORDS = {
    "eu": "EU",
    "uk": "UK",
    "us_men": "US men",
    "us_women": "US women",
    "mondopoint": "Mondopoint",
    "mark_found_anew": "mark found anew each time",
    "tape_left_on": "tape left on",
    "uneven_left_right": "uneven left to right",
}
_UNITS = {"mm": "mm", "deg": "°", "kg": "kg", "N m": "N m"}
_ASKED = {
    "signs_asked": (("not asked yet", None), ("asked: none, or only those below", True)),
    "seen_asked": (("not noted", None), ("watched: nothing unusual, or only what stands below", True)),
}


def choices(info: FieldInfo) -> list[tuple[str, object]]:
    """Return what a list of choices offers: words and value, first nothing."""
    if info.dotted in _ASKED:
        return list(_ASKED[info.dotted])
    if info.sort == "yes or no":
        return [("—", None), ("yes", True), ("no", False)]
    return [("—", None), *((label(info, word), word) for word in info.choices)]


def label(info: FieldInfo, word: str) -> str:
    """Return one fixed word as a person reads it; signs with their urgency."""
    if word in SIGN_WORDS and info.dotted.startswith("signs"):
        return f"{SIGNS[word]}: {SIGN_WORDS[word]}"
    return _WORDS.get(word, word.replace("_", " "))


def title(info: FieldInfo) -> str:
    """Return the title of a field as it stands alone, without its group around it."""
    if info.dotted.startswith("consent."):
        return f"Consent {info.how[:1].lower()}{info.how[1:]}"
    return "How these were taken" if info.dotted.startswith("taken.") else info.title


def titled(info: FieldInfo, dotted: str) -> str:
    """Return the title of a field with side and unit, as it is read aloud."""
    steps = dotted.removeprefix("taken.").split(".")
    side = next((step for step in steps if step in ("left", "right")), "")
    words = [title(info), *([side] if side and side not in info.title.lower() else [])]
    unit = unit_words(info)
    return ", ".join(words) + (f" ({unit})" if unit else "")


def unit_words(info: FieldInfo) -> str:
    """Return the unit as it stands beside a field."""
    if info.possible == (0, 10) and info.unit == "1":
        return "0 to 10"
    return _UNITS.get(info.unit or "", "")
