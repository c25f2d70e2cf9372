"""Forms of the workbench, built from the session's own descriptions of its fields.

A form writes the session and computes nothing; a live view works it out again when a form has saved.
"""

from fitkit.forms.form import form
from fitkit.forms.lead import lead
from fitkit.forms.views import head, last_time, live, sign_off, still

__all__ = ["form", "head", "last_time", "lead", "live", "sign_off", "still"]
