"""Ear-clinic operations notebooks: from visit logs to four decisions."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # fits are small: more threads made them up to 16 times slower

__version__ = "0.1.0"
