"""Tuning rounds for air-tuned bottle instruments."""

__version__ = "0.1.0"
