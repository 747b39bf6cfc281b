"""The machine as data: what it is made of, its numbers and their changes; nothing here solves anything."""
