"""The command line's own: options from signatures, parsing, pages, what is printed."""
