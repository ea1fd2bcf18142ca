"""A figure with its range and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """One figure, its range and its basis.

    Attributes
    ----------
    value : float
        The best single figure.
    low, high : float
        Ends of the range.
    level : float
        How sure the range is, a share between 0 and 1.
    n : int
        Visits, ears or patients behind the figure; the user says which.
    method : str
        How it was computed, in a few plain words.

    Examples
    --------
    >>> Estimate(12.0, 10.0, 14.0, 0.95, 200, "gamma model").scaled(2).high
    28.0
    """

    value: float
    low: float
    high: float
    level: float
    n: int
    method: str

    def scaled(self, by: float) -> Estimate:
        """Give the figure in another unit; a negative factor swaps the ends."""
        low, high = sorted((self.low * by, self.high * by))
        return Estimate(self.value * by, low, high, self.level, self.n, self.method)

    @property
    def excludes_zero(self) -> bool:
        """Whether the whole range lies on one side of nought."""
        return self.low > 0 or self.high < 0
