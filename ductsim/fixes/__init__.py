"""Fixes: what a repair changes, and what sets of them make together."""
