"""What follows from the tables alone: attempts, gaps and sessions."""
