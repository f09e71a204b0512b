"""Ooid: husbandry records and computations for stony-coral systems."""

__version__ = "0.1.0"
