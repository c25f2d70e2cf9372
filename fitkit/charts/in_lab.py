"""Own charts in Lab: Lab itself draws them, so that no address is asked, in the kit's look."""

from __future__ import annotations

from fitkit.charts import import_jsonschema
from fitkit.charts.figure import CONFIG

import_jsonschema()
import altair as alt  # noqa: E402 - after that

# Lab carries its own renderer for this type; Altair's usual way fetches one from the network.
_TYPE = "application/vnd.vegalite.v5+json"
# No menu entry that hands a chart's data to a page elsewhere.
_ACTIONS = {"export": True, "source": False, "compiled": False, "editor": False}


def in_lab() -> None:
    """Show charts of Altair in Lab without a network, in the kit's look, their description read aloud."""
    alt.renderers.register("in_lab", _bundle)
    alt.renderers.enable("in_lab")
    alt.theme.register("in_lab", enable=True)(_look)


def _look() -> alt.theme.ThemeConfig:
    return {"config": {**CONFIG, "aria": True, "legend": {**CONFIG["legend"], "symbolSize": 80}}}


def _bundle(spec: dict, **_: object) -> tuple[dict, dict]:
    drawn = {name: value for name, value in spec.items() if name != "$schema"}  # said by the type
    words = spec.get("description") or "A chart; Lab shows it."
    return {_TYPE: drawn, "text/plain": words}, {_TYPE: {"embed_options": {"actions": _ACTIONS}}}
