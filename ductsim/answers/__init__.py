"""The solved machine: its state, its notes and limits, and its derivatives."""
