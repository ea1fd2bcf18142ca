"""Ear-clinic operations notebooks: from visit logs to four decisions."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # fits are small: more threads made them up to 16 times slower
# Polars keeps the memory of one step for the next for a while, in one pool a core: intake of a large log takes a fifth less
os.environ.setdefault("_RJEM_MALLOC_CONF", f"narenas:{os.cpu_count() or 1},dirty_decay_ms:2000,muzzy_decay_ms:0")
# what is read from Parquet and let go of is then free for the frames: a large store opens in a third less time and memory
os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")

__version__ = "0.1.0"
