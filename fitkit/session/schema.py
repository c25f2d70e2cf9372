"""The JSON Schema of a session file, made from the models."""

from __future__ import annotations

from typing import Any

from fitkit.session.models import Session

__all__ = ["json_schema"]

_UNMEASURED = [{"type": "null"}, {"type": "array", "maxItems": 0}]


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a session file, with units, how to measure and usual limits."""
    schema = Session.model_json_schema()
    for group in (schema, *schema["$defs"].values()):
        required = group.get("required", ())
        group["properties"] = {
            name: field if name in required else _may_be_unmeasured(field)
            for name, field in group["properties"].items()
        }
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _may_be_unmeasured(field: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a field that may also be null or empty: both say that it was not measured."""
    told = {name: field[name] for name in ("title", "description", "unit", "usual") if name in field}
    rest = {name: value for name, value in field.items() if name not in (*told, "default")}
    choices = [choice for choice in rest.pop("anyOf", [rest]) if choice not in _UNMEASURED]
    holds_lists = any(choice.get("type") == "array" for choice in choices)
    return {**told, "anyOf": [*choices, *(_UNMEASURED[:1] if holds_lists else _UNMEASURED)]}
