"""What to do about it: slots and sessions."""
