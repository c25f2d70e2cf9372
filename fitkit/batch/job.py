"""What a worker is asked to do: one visit, and what it may take."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.batch.files import Access

__all__ = ["Input", "Job", "Limits"]


@dataclass(frozen=True)
class Input:
    """One file a visit's record is made from."""

    name: str  # where the notebook finds it, from its working folder
    source: str
    required: bool = True


@dataclass(frozen=True)
class Limits:
    """Limits of one record.

    Parameters
    ----------
    cell_s : int
        One cell of the notebook [s].
    notebook_s : float
        The whole notebook with the start of its kernel [s].
    kernel_start_s : int
        The start of the kernel [s].
    pages_s : float
        Everything after the notebook: pages, PDF, files [s].
    kernel_memory_mb, worker_memory_mb : int
        What one kernel, and one worker process, may take [MB].
    """

    cell_s: int = 60
    notebook_s: float = 300
    kernel_start_s: int = 60
    pages_s: float = 120
    kernel_memory_mb: int = 2000
    worker_memory_mb: int = 4000


@dataclass(frozen=True)
class Job:
    """One visit to be made.

    Parameters
    ----------
    key : str
        The visit.
    inputs : tuple of Input
        Its files; the session first.
    template : str
        The notebook to run.
    making : str
        Folder in which the record is made, under the visit's name.
    kit : str
        Digest of what all visits share.
    access : Access
        Who may read the record.
    limits : Limits
        Limits of time and memory.
    forked : bool
        Whether kernels are copies of a warm one, where the system can do that.
    browser : str or None
        Chromium that makes the PDF pages; None for none.
    """

    key: str
    inputs: tuple[Input, ...]
    template: str
    making: str
    kit: str
    access: Access
    limits: Limits = Limits()
    forked: bool = True
    browser: str | None = None
