"""The commands of the command line: what each reads, which question it asks, what it prints."""
