"""The words of the pages, for who meets them for the first time."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Word:
    """One word of the glossary.

    Parameters
    ----------
    term, meaning : str
    """

    term: str
    meaning: str

    @property
    def anchor(self) -> str:
        """Where the page links to."""
        return f"word-{self.term.casefold().replace(' ', '-').replace('/', '')}"


SHOP = (
    Word("unit", "One supercharger: case and rotor set, with a name that stays."),
    Word(
        "run",
        "One use under load. A run that was shut off counts as the fraction written down as its "
        "load.",
    ),
    Word("restrip", "Fitting new outside-diameter strips to the rotors."),
    Word("build", "The time between two restrips of a unit, counted from 1."),
    Word("age", "Runs on the strips since the restrip, each counted with its load."),
    Word(
        "look",
        "Somebody saw the strips and wrote down what they looked like, after a run or at teardown.",
    ),
    Word("hot", "The strips show heat but still seal. Not a failure."),
    Word("strip life", "Runs from the restrip to burn-through."),
    Word(
        "burn-through",
        "An outside strip no longer seals: material is missing, or heat has sunk it below the "
        "rotor surface.",
    ),
    Word(
        "pulled, cut, rubbed",
        "Other ways strips fail: out of the groove, cut by something foreign, in contact with "
        "the case.",
    ),
    Word("tip clearance", "Gap from lobe tip to case bore."),
    Word("mesh clearance", "Gap from a lobe to the root of the other rotor."),
    Word("end clearance", "Gap from the end of a rotor to the end plate."),
    Word("metal to metal", "Gap from the rotor without strip to the case."),
    Word("strip height", "How far the strip stands above the rotor surface."),
    Word("thou", "A thousandth of an inch, 0.0254 mm."),
    Word(
        "go / no-go reading",
        "The thickest feeler blade that enters and the thinnest that does not: the gap lies "
        "between, so it is written as two numbers.",
    ),
    Word(
        "corrected boost",
        "Boost as it would read at a barometer of 29.921 inHg, so that days can be compared.",
    ),
    Word(
        "boost lost",
        "What the fitted growth of tip clearance since the restrip costs in boost.",
    ),
    Word(
        "set aside",
        "A row that could not be taken as it was typed. It waits to be mended; it is in no number.",
    ),
    Word("left out", "A build or reading that a fit does not use, with the reason."),
)
"""Words of the shop and of the records."""

NUMBERS = (
    Word("chance", "Of a hundred such strips with such records, so many would."),
    Word(
        "interval",
        "Where the truth would lie in so many of a hundred such reports: a 90 % interval misses "
        "it in ten. The fewer the lives behind a number, the wider.",
    ),
    Word(
        "lives and failures",
        "How much stands behind a number: builds in the fit, and how many of them burned "
        "through. The failures carry most of what is known.",
    ),
    Word(
        "known good to, failed by",
        "Strips are seen only at looks. They failed after the last look that found them sound "
        "and not later than the one that found them failed (interval censoring). Strips that "
        "never failed count up to their last look (right censoring).",
    ),
    Word("entry", "Age at which strips came into the records, where they had run before."),
    Word("fitted curve", "Share of strips still sound by age, by a law that fits the lives."),
    Word(
        "seen, no model",
        "The same share counted from the lives alone, with no law (product limit, or the curve "
        "of greatest likelihood for intervals).",
    ),
    Word(
        "law",
        "The form of the curve, most often Weibull's. Its shape says how failures come: above 1 "
        "strips wear out, at 1 they fail by chance at any age, below 1 the young ones fail. Its "
        "scale is the age by which about 63 % have burned through.",
    ),
    Word(
        "profile likelihood",
        "A way to an interval: every value of the number that leaves the records likely enough.",
    ),
    Word(
        "prior",
        "What is assumed before the first record. Bayes’ rule weighs it with the records; with "
        "few lives it carries much of the answer, and the page says so.",
    ),
    Word(
        "prediction band",
        "Where the true clearance of these strips should lie at an age; wider the farther ahead.",
    ),
    Word(
        "hazard ratio",
        "How many times as likely strips are to burn through in a run, one sort against another, "
        "or for so much more of something. At 1 there is no difference.",
    ),
    Word(
        "looking back",
        "What earlier records would have said of runs that have been made since, beside what "
        "became of them.",
    ),
    Word(
        "failures over total runs",
        "How many failures a unit has had by so many runs over all its builds; the fleet’s mean "
        "beside it. Steps that crowd together mean it wears strips out faster.",
    ),
    Word(
        "cost per run",
        "Planned restrips, burn-throughs and lost boost together, shared among the runs.",
    ),
)
"""Words of the numbers."""
