"""The record's sections on the rider seen riding: trials, knees on film, sprints, and the visit before."""

from __future__ import annotations

from fitkit.assessment import Assessment
from fitkit.charts import Figure
from fitkit.report import follow_up, riding, sprinting
from fitkit.report.blocks import Sentences, Table

__all__ = ["SeenRiding"]


class SeenRiding:
    """Sections of a record; whoever inherits them sets `assessment`."""

    assessment: Assessment

    def forward_limit(self) -> Sentences:
        """Say between which cleat setbacks each foot becomes unsteady, and what that rests on."""
        return riding.forward_limit_words(self.assessment)

    def trial_line(self) -> Figure | Sentences:
        """Draw the trials along either sole."""
        return riding.trial_figure(self.assessment)

    def trials_along(self) -> Table:
        """Return the trials from toes to heel with what was seen in each."""
        return riding.trials_along(self.assessment)

    def unsteadiness_scale(self) -> Table:
        """Return the scale of unsteadiness in words, where there are trials."""
        return riding.unsteadiness_scale() if self.assessment.visit.session.trials else Table("", (), ())

    def knees(self) -> Table:
        """Return the knees on film."""
        return riding.knees(self.assessment)

    def knee_track(self) -> Figure | Sentences:
        """Draw each knee's place against the crank angle."""
        return riding.knee_figure(self.assessment)

    def knee_places(self) -> Table:
        """Return the table behind the drawing of the knees."""
        return riding.knee_places(self.assessment)

    def knee_words(self) -> Sentences:
        """Say what is published on knee travel, and what the films lack."""
        return riding.knee_words(self.assessment)

    def sprints(self) -> Table:
        """Return every sprint of the power files."""
        return sprinting.sprints(self.assessment)

    def sprint_points(self) -> Figure | Sentences:
        """Draw the sprints by setting."""
        return sprinting.sprint_figure(self.assessment)

    def sprints_compared(self) -> Table:
        """Return differences between settings beside the smallest that can be shown."""
        return sprinting.compared(self.assessment)

    def sprint_words(self) -> Sentences:
        """Say the exertion screen, what the power files lack and what the trade's figure is worth."""
        return sprinting.sprint_words(self.assessment)

    def since_last(self) -> Sentences:
        """Say what was kept since the last visit."""
        return follow_up.since_last(self.assessment.visit)

    def complaints_then_and_now(self) -> Table:
        """Return complaints of the last visit beside those of this one."""
        return follow_up.complaints_then_and_now(self.assessment.visit)
