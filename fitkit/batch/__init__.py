"""Many visits at once: each session file becomes an executed notebook, its pages and its results.

``inputs`` finds the session files, ``job`` tells which are unchanged, ``pool`` has a process for each of the others,
``record`` is what that does, with the ``engine`` that runs the notebook, ``folder`` puts finished records in place,
``index`` says what stands there, and ``run`` joins them. ``cluster`` is a pool elsewhere, ``remote`` its other end.
Import the module you need.
"""

from fitkit.charts import import_jsonschema

import_jsonschema()  # before nbformat and papermill
