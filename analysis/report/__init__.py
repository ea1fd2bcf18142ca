"""The quarterly report and its result rows."""
