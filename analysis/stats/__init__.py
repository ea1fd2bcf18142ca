"""Small general statistics; no clinic words here."""
