"""The cleaning chain on Spark, for a group of clinics that outgrows one machine."""

from __future__ import annotations
