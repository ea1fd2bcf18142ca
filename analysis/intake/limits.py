"""How much an export may hold: what is beyond is refused in words, before time or memory is spent on it.

The limits are our own. They lie well above what a clinic's export holds, and
are told in README.
"""

from __future__ import annotations

LARGEST_BYTES = 2 * 1024**3
"""Of one file."""
LONGEST_LINE_BYTES = 4 * 1024**2
"""Between two ends of line in a CSV; a longer one is no row, and is refused before the file is read."""
LONGEST_CELL = 1_000_000
"""Letters in one cell of a CSV."""
MOST_CELLS_A_ROW = 16_384
"""As many columns as a spreadsheet has: trailing empty cells reach so far."""
MOST_COLUMNS = 2000
"""With headings."""
MOST_CELLS = 50_000_000
"""Of one table, empty ones among them: two million visits with 25 columns."""
LARGEST_UNPACKED_BYTES = 2 * 1024**3
"""Of all parts of a workbook, or of a Parquet file's columns."""
PACKED_TIGHTEST = 200
"""How many times its packed size a workbook may unpack to; a true log packs 5 to 30 times."""
JUDGE_PACKING_FROM_BYTES = 50 * 1024**2
"""Smaller workbooks do no harm, however tightly they are packed."""
MOST_PARTS = 10_000
"""Files within a workbook."""
LONGEST_NAME = 200
"""Letters in a file's name."""
CHUNK_BYTES = 1024**2
