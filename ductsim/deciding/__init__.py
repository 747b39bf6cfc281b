"""What to do next: which fix as far as is known, and which reading would make that choice better."""
