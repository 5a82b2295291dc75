"""Edges heard once, and kept for the next time."""
