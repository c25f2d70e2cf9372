"""Lab, as the command ``open`` starts it in a process of its own: ``python -P -m fitkit.workbench.served``.

Two seconds sooner than ``python -m jupyterlab``, and no file of the work folder is taken for a module.
"""

import os

from fitkit import files
from fitkit.charts import import_jsonschema


def main() -> None:
    """Put the workspace with its side bars shut into its place, and be Lab until it is stopped."""
    import_jsonschema()
    from jupyterlab import labapp
    from jupyterlab_server.workspaces_handler import WorkspacesManager

    workspace = files.template("workbench/workspace.json").read_text(encoding="utf-8")
    WorkspacesManager(os.environ["JUPYTERLAB_WORKSPACES_DIR"]).save("fit", workspace)
    labapp.main()


if __name__ == "__main__":
    main()
