"""Ear-clinic operations notebooks: from visit logs to four decisions."""

__version__ = "0.1.0"
