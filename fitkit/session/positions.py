"""The positions of a visit in their order, and values by their dotted path."""

from __future__ import annotations

__all__ = ["counting", "holds_any", "value_at"]


def value_at(model: object, dotted: str):
    """Return what stands at a dotted path of a session; list items by their index, as in ``trials.0.note``."""
    for step in dotted.split("."):
        model = model[int(step)] if step.isdigit() else getattr(model, step)
    return model


def holds_any(model) -> bool:
    """Whether a part of a session, such as a position, holds any value at all."""
    return _is_filled(model.model_dump())


def _is_filled(value: object) -> bool:
    if isinstance(value, dict):
        return any(_is_filled(v) for v in value.values())
    return value is not None and value != () and value != []


def counting(session) -> list[str]:
    """Return the dotted paths of the positions that count, in order: as found, trials kept, decided, as left.

    A position counts when it holds any value. The last one is the current one.
    """
    trials = [f"trials.{i}.position" for i, trial in enumerate(session.trials) if trial.kept]
    paths = ["as_found", *trials, "decided", "as_left"]
    return [path for path in paths if holds_any(value_at(session, path))]
