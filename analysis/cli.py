"""The ``earclinic`` command: commands only, no computing."""


def main() -> int:
    """Run a command."""
    return 0
