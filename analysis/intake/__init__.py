"""Text to typed visits and ears; every row kept or set aside with a reason."""
