"""What can be asked of a solved machine, and what its gauges would show."""
