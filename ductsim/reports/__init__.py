"""The report on one page, and the explorer."""
