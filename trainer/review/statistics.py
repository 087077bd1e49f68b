"""How sure a count is: a share with its interval, and typical think times with theirs."""

from __future__ import annotations

import math
from dataclasses import dataclass

Z95 = 1.959963984540054  # the normal deviate that leaves 2.5 % on either side


def wilson(hits: int, cases: int, z: float = Z95) -> tuple[float, float]:
    """The score interval of a share (E. B. Wilson, 1927); (0, 1) where there are no cases."""
    if not cases:
        return 0.0, 1.0
    share = hits / cases
    weight = z * z / cases
    middle = share + weight / 2
    reach = z * math.sqrt(share * (1 - share) / cases + weight / (4 * cases))
    low = 0.0 if hits == 0 else (middle - reach) / (1 + weight)
    high = 1.0 if hits == cases else (middle + reach) / (1 + weight)
    return low, high


@dataclass(frozen=True, slots=True)
class Share:
    """`hits` of `cases`."""

    hits: int
    cases: int

    @property
    def value(self) -> float:
        """0 to 1; not a number without cases."""
        return self.hits / self.cases if self.cases else math.nan

    @property
    def low(self) -> float:
        """The lower end of the 95 % interval."""
        return wilson(self.hits, self.cases)[0]

    @property
    def high(self) -> float:
        """The upper end of the 95 % interval."""
        return wilson(self.hits, self.cases)[1]

    @property
    def missed(self) -> Share:
        """The other cases."""
        return Share(self.cases - self.hits, self.cases)

    def __add__(self, other: Share) -> Share:
        return Share(self.hits + other.hits, self.cases + other.cases)


@dataclass(frozen=True, slots=True)
class Think:
    """Think times of `cases` chords, as sums of their logarithms (in millionths).

    Think times are spread like products, not sums: the typical one is the geometric mean.
    """

    cases: int
    log_sum: int
    square_sum: int

    @property
    def typical(self) -> float | None:
        """Seconds; None without cases."""
        return math.exp(self._mean) if self.cases else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """The 95 % interval of the typical think time in seconds; None under two cases."""
        if self.cases < 2:
            return None
        spread = max(0.0, self.square_sum / 1e6 / self.cases - self._mean**2)
        error = Z95 * math.sqrt(spread / (self.cases - 1))
        return math.exp(self._mean - error), math.exp(self._mean + error)

    def __add__(self, other: Think) -> Think:
        return Think(
            self.cases + other.cases,
            self.log_sum + other.log_sum,
            self.square_sum + other.square_sum,
        )

    @property
    def _mean(self) -> float:
        return self.log_sum / 1e6 / self.cases
