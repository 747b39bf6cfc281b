"""The reference: one searchable page, made from docstrings, declarations and registries."""

from .page import page, write_page

__all__ = ["page", "write_page"]
