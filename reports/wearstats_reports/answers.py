"""An answer: an estimate with what stands behind it, or the sentence why there is none."""

from dataclasses import dataclass

from wearstats.estimates import Estimate


@dataclass(frozen=True, slots=True)
class Answer:
    """What a page says to one question.

    Parameters
    ----------
    estimate : Estimate or None
    behind : str
        How much stands behind it, in words ("23 lives, 9 of them burned through").
    why_not : str
        One sentence where there is no estimate; empty otherwise.

    Examples
    --------
    >>> Answer(why_not="No boost was logged.").known
    False
    """

    estimate: Estimate | None = None
    behind: str = ""
    why_not: str = ""

    @classmethod
    def of(cls, estimate: Estimate, behind: str = "") -> "Answer":
        """Return an answer that also says what the estimate's own note says."""
        return cls(estimate, "; ".join(part for part in (behind, estimate.note) if part))

    @property
    def known(self) -> bool:
        """Whether there is anything to print as a number."""
        return self.estimate is not None and any(
            value is not None
            for value in (self.estimate.estimate, self.estimate.low, self.estimate.high)
        )
