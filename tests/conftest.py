"""What the tests hold in common."""
