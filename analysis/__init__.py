"""Ear-clinic operations notebooks: from visit logs to four decisions."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # fits are small: more threads made them up to 16 times slower
# Polars keeps the memory of one step for the next for some seconds: intake of a large log takes a tenth less
os.environ.setdefault("_RJEM_MALLOC_CONF", "dirty_decay_ms:10000,muzzy_decay_ms:-1")

__version__ = "0.1.0"
