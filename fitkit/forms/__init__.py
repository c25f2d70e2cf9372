"""Forms of the workbench, built from the session's own descriptions of its fields.

A form writes the session and computes nothing; a live view works it out again when a form has saved.
"""

from fitkit.forms.confirm import last_time
from fitkit.forms.form import form, head
from fitkit.forms.live import live, still
from fitkit.forms.signing import sign_off

__all__ = ["form", "head", "last_time", "live", "sign_off", "still"]
