"""Forms of the workbench, built from the session's own descriptions of its fields."""
