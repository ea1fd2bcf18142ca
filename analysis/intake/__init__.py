"""Text to typed visits and ears; every row kept or set aside with a reason."""

from analysis.intake.taking import Intake, take_in

__all__ = ["Intake", "take_in"]
