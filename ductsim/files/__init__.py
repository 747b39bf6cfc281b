"""Machine files: templates spelled out, read into a machine and written again."""
