"""The drawing of a machine's air path."""
