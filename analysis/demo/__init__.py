"""The invented clinic, seeded, with its planted truth."""
