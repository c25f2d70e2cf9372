"""What a worker is asked to do: one visit, and what it may take."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.files import Access

__all__ = ["Input", "Job", "Limits"]


@dataclass(frozen=True)
class Input:
    """One file a visit's record is made from."""

    name: str  # where the notebook finds it, from its working folder
    source: str
    required: bool = True


@dataclass(frozen=True)
class Limits:
    """Limits of one record."""

    cell_s: int = 60  # one cell of the notebook [s]
    notebook_s: float = 300  # the whole notebook, with the start of a kernel where there is one [s]
    kernel_start_s: int = 60  # the start of the kernel [s]
    pages_s: float = 120  # everything after the notebook: pages, PDF, files [s]
    notebook_memory_mb: int = 2000  # what the process that runs the notebook may take meanwhile [MB]
    process_memory_mb: int = 4000  # what a record's process may take otherwise [MB]


@dataclass(frozen=True)
class Job:
    """One visit to be made."""

    key: str  # the visit
    inputs: tuple[Input, ...]  # its files; the session first
    template: str  # the notebook to run
    making: str  # folder in which the record is made, under the visit's name
    kit: str  # digest of what all visits share
    access: Access  # who may read the record
    limits: Limits = Limits()  # limits of time and memory
    forked: bool = True  # whether a copy of a warm process runs the notebook, where that can be
    browser: str | None = None  # chromium that makes the PDF pages; None for none
