"""Where the kit's own files are, in a checkout and in a built install alike."""

from __future__ import annotations

from pathlib import Path

__all__ = ["notebook", "template"]

_PACKAGE = Path(__file__).resolve().parent


def template(name: str) -> Path:
    """Return the path of a file or folder of ``templates/``."""
    return _find("templates", name)


def notebook(name: str) -> Path:
    """Return the path of a file of ``notebooks/``; raises FileNotFoundError as `template` does."""
    return _find("notebooks", name)


def _find(folder: str, name: str) -> Path:
    # A checkout comes first: an editable install may have left an old copy inside the package.
    checkout = _PACKAGE.parent
    roots = [checkout / folder] if (checkout / "pyproject.toml").is_file() else []
    for root in (*roots, _PACKAGE / f"_{folder}"):
        if (root / name).exists():
            return root / name
    raise FileNotFoundError(f"{folder}/{name} is not part of this install; install the kit again")
