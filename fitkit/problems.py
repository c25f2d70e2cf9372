"""What is wrong with what was given, said so that it can be mended."""

from __future__ import annotations

__all__ = ["WrongCallError"]


class WrongCallError(Exception):
    """The command cannot be carried out as it was given; each argument says what was found and what was expected."""

    def __str__(self) -> str:
        return "\n".join(str(line) for line in self.args)
