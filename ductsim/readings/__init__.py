"""Readings taken on a machine: read, checked, and explained by its uncertain numbers."""
