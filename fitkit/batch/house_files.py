"""The clinic's own house rules and parts table: checked before anything begins, copied for the kernels."""

from __future__ import annotations

import os
from pathlib import Path

from fitkit import house
from fitkit.batch.messages import WrongCallError, os_reason, plain
from fitkit.house import House, HouseProblems

__all__ = ["load_house", "staged_house"]

_VARIABLES = {"rules": "FITKIT_RULES", "parts": "FITKIT_PARTS"}


def load_house(rules: Path | None, parts: Path | None) -> House:
    """Return the house rules and the parts table; a file that cannot be used is a wrong call, every problem said."""
    try:
        return house.load(rules, parts)
    except HouseProblems as error:
        raise WrongCallError(*(plain(problem) for problem in error.problems)) from None
    except OSError as error:
        raise WrongCallError(f"{plain(error.filename)} could not be read: {os_reason(error)}") from None


def staged_house(rules: Path | None, parts: Path | None, making: Path) -> tuple[House, dict[str, str]]:
    """Copy replaced files into the run's own folder, so that all visits are made with the same."""
    environment = {}
    for kind, given in (("rules", rules), ("parts", parts)):
        variable = _VARIABLES[kind]
        asked = given or os.environ.get(variable)
        if asked:
            copy = making / "house" / kind / Path(asked).name
            copy.parent.mkdir(mode=0o700, parents=True)
            copy.touch(mode=0o600)
            copy.write_bytes(Path(asked).read_bytes())
            environment[variable] = str(copy)
    return load_house(environment.get("FITKIT_RULES"), environment.get("FITKIT_PARTS")), environment
