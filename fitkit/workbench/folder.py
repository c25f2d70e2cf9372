"""The private work folder: sessions by year, notebooks by visit, papers, a trainee's answers; never in the kit."""

from __future__ import annotations

import atexit
import json
import os
import re
import shutil
import tempfile
from dataclasses import dataclass
from functools import cache
from itertools import chain
from pathlib import Path, PurePosixPath

import platformdirs

from fitkit import files, session
from fitkit.files import make_folder, replace_durably
from fitkit.session import Session, SessionProblems
from fitkit.session.bike import RIDE_FILES

# The notebooks of a visit and those for learning, and what they are called on the start page.
NOTEBOOKS = {
    "1_intake": "Intake",
    "2_cleat_marking": "Cleat marking",
    "3_stance_width": "Stance width",
    "4_ride_check": "Ride check",
    "5_review": "Review",
}
LEARNING = {
    "worked_example": "A worked example",
    "measuring_error": "Your own measuring error",
    "own_questions": "Your own questions",
}
_OWN = "own_questions.ipynb"  # what a person wrote into it is never written over
_START = "start_here.ipynb"
_APP = "cleat-stance-notebooks"


def is_kept(work: str | Path) -> bool:
    """Whether what is typed stays: never in the kit's own folder, so that nothing is published with the kit."""
    kit = Path(__file__).resolve().parents[2]
    return not ((kit / "pyproject.toml").is_file() and Path(work).resolve().is_relative_to(kit))


def learning_folder(work: str | Path) -> Path:
    """Return the work folder, or a private one that goes with this process where the work folder is the kit's own."""
    return Path(work).resolve() if is_kept(work) else _passing()


@cache
def _passing() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="learning-"))  # 0700 by itself
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


class WorkFolderError(Exception):
    """The work folder cannot be used, in words."""


def default_folder() -> Path:
    """Return where the work folder is when nobody says: with this person's own data."""
    return platformdirs.user_data_path(_APP, appauthor=False)


@dataclass(frozen=True)
class WorkFolder:
    """A work folder."""

    root: Path  # the folder

    @property
    def own(self) -> Path:
        """Lab's own files: settings, what runs."""
        return self.root / ".workbench"

    def prepare(self) -> None:
        """Make what is missing, closed to others, and bring the notebooks up to date; sessions are not touched."""
        if not is_kept(self.root):
            raise WorkFolderError(
                f"{self.root} lies in the kit's own folder; expected a private folder elsewhere, so that nothing of a "
                "rider can be published with the kit"
            )
        try:
            for folder in (self.root, self.own, self.root / "visits", self.root / "papers"):
                folder.mkdir(parents=True, exist_ok=True)
                folder.chmod(0o700)
            for name in (_START, *(f"{name}.ipynb" for name in LEARNING)):
                if name != _OWN or not (self.root / name).exists():
                    _write_notebook(name, self.root, {"work": "."})
            for visit in (self.root / "visits").iterdir():
                if visit.is_dir() and (path := self.session_path(visit.name)):
                    self.open_visit(path)
        except OSError as error:
            raise WorkFolderError(f"{self.root} cannot be written: {error.strerror or error}") from None

    def sessions(self) -> list[Path]:
        """Return the session files, the latest visit first."""
        found = [path for year in self.root.glob("[0-9]*") if year.is_dir() for path in year.glob("*_*_*.json")]
        return sorted(found, key=lambda path: (path.stem.split("_")[1], path.stem), reverse=True)

    def session_path(self, key: str) -> Path | None:
        """Return the session file of a key, None where there is none."""
        return next((path for path in self.root.glob(f"[0-9]*/{key}.json")), None)

    def new_visit(self, client_id: str, visit_date: str, setup: str, *, access: str) -> Path:
        """Make the session of a new visit in its year folder; raises as `session.new`."""
        year = visit_date[:4] if re.fullmatch(r"\d{4}-\d{2}-\d{2}", visit_date, re.ASCII) else "0000"
        if year == "0000" or "/" in client_id or "/" in setup:
            session.new(client_id, visit_date, setup, self.own / "refused", access=access)  # says what is wrong
        return session.new(client_id, visit_date, setup, self.root / year, access=access)

    def take_in(self, path: Path) -> Path:
        """Return where a session file stands in the work folder; one from elsewhere is copied with the films and
        power files it names, never over another.
        """
        loaded = session.load(path)
        if path.resolve().is_relative_to(self.root.resolve()):
            return path.resolve()
        target = self.root / loaded.visit_date[:4] / path.name
        if target.exists() and target.read_bytes() != path.read_bytes():
            raise WorkFolderError(
                f"{path.name} stands in the work folder already with other content ({target}); open that one, or move "
                "one of the two away"
            )
        _copy(path, target)
        for entry in chain.from_iterable(getattr(loaded.ride, name) for name in RIDE_FILES):
            if ".." not in PurePosixPath(entry.file).parts and "\\" not in entry.file:
                _copy(path.parent / entry.file, target.parent / entry.file)
        return target

    def open_visit(self, path: Path) -> Path:
        """Write this visit's notebooks, each with its session set, and return their folder."""
        folder = self.root / "visits" / path.stem
        make_folder(folder)
        for name in NOTEBOOKS:
            _write_notebook(f"{name}.ipynb", folder, {"session": os.path.relpath(path.resolve(), folder.resolve())})
        return folder

    def take_away(self, key: str) -> None:
        """Remove one visit for good: its file and history, its notebooks and papers."""
        client_id = key.split("_")[0]
        session.forget(client_id, self.root, key=key)
        self.forget(client_id, key=key)

    def forget(self, client_id: str, *, key: str | None = None) -> tuple[Path, ...]:
        """Remove notebooks and papers of a client or of one visit (session files are the session store's to forget)."""
        removed = []
        for place in ("visits", "papers"):
            for folder in (self.root / place).glob(f"{client_id}_*"):
                if key in (None, folder.name):
                    shutil.rmtree(folder)
                    removed.append(folder)
        return tuple(removed)


def _copy(source: Path, target: Path) -> None:
    """Copy a file that is there, for its owner alone, never over another."""
    if source.is_file() and not target.exists():
        make_folder(target.parent)
        target.touch(mode=0o600)
        shutil.copyfile(source, target)


def load_or_none(path: Path) -> tuple[Session | None, str]:
    """Return a session, or why it cannot be read."""
    try:
        return session.load(path), ""
    except SessionProblems as error:
        return None, str(error.problems[0])


def _write_notebook(name: str, folder: Path, parameters: dict[str, str]) -> None:
    """Write a notebook of the kit with other values in its cell of parameters, where it differs."""
    notebook = json.loads(files.notebook(name).read_text(encoding="utf-8"))
    for cell in notebook["cells"]:
        if "parameters" in cell["metadata"].get("tags", ()):
            comment = "".join(cell["source"]).split("\n")[0]
            values = (f"{key} = {json.dumps(value)}" for key, value in parameters.items())
            cell["source"] = "\n".join([comment, *values])
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None
    text, target = json.dumps(notebook, ensure_ascii=False, indent=1) + "\n", folder / name
    if not (target.is_file() and target.read_text(encoding="utf-8") == text):
        replace_durably(target, text.encode(), lasting=False)
