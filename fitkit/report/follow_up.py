"""This visit against the last: what was kept, complaints then and now; what is unknown stays unknown."""

from __future__ import annotations

from fitkit.assessment import Visit
from fitkit.report.blocks import Sentences, Table
from fitkit.words import capital, day, plain

__all__ = ["complaints_then_and_now", "since_last"]


def since_last(visit: Visit) -> Sentences:
    """Say what was kept since the last visit and when the rider was asked; unknown stays unknown."""
    previous, since = visit.previous, visit.session.since_last
    if visit.previous_problem:
        return Sentences((f"Nothing is compared with the last visit: {visit.previous_problem}",))
    if previous is None:
        if since.kept is None and not since.complaints and since.date is None:
            return Sentences(())
        lines = ["The last visit is not among the files given; what was said of it stands here."]
    else:
        lines = [f"Last visit: {day(previous.visit_date)}."]
    kept = {
        True: "The rider says the settings were kept.",
        False: "The rider says the settings were not kept: what follows cannot be put down to them.",
        None: "Whether the settings were kept is unknown.",
    }
    lines.append(kept[since.kept])
    lines.append(f"Asked on {day(since.date)}." if since.date else "When the rider was asked is unknown.")
    lines.append("A complaint that went may have gone by itself; one visit against another proves no cause.")
    return Sentences(tuple(lines))


def complaints_then_and_now(visit: Visit) -> Table:
    """Return each complaint of the last visit, since then, and of this visit, side by side."""
    if visit.previous is None:
        return Table("Complaints then and now", (), ())
    groups = (visit.previous.complaints, visit.session.since_last.complaints, visit.session.complaints)
    places = dict.fromkeys((c.region, c.side) for group in groups for c in group)
    rows = tuple((_place_words(*place), *(_severity(group, place) for group in groups)) for place in places)
    head = ("", f"On {day(visit.previous.visit_date)}", "Since then", f"On {day(visit.session.visit_date)}")
    return Table("Complaints then and now, 0 to 10", head, rows, "No complaint was recorded in either visit.")


def _place_words(region: str, side: str | None) -> str:
    return capital(region.replace("_", " ")) + (f", {side}" if side else "")


def _severity(complaints, place: tuple[str, str | None]) -> str:
    found = [complaint for complaint in complaints if (complaint.region, complaint.side) == place]
    if not found:
        # Nobody wrote that it was gone, only that it was not named.
        return "not named"
    severities = [complaint.severity for complaint in found if complaint.severity is not None]
    return ", ".join(f"{plain(severity)} of 10" for severity in severities) or "named, how bad is unknown"
