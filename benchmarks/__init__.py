"""Benchmarks: how well the analysis hears, next to the general libraries.

They are run by hand, not by pytest, and need the ``bench`` extra.
"""
