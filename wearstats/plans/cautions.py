"""What is always shown where advice is, in one place."""

_HAZARDS = (
    "A supercharger stores energy and can burst; strips of burned urethane and nitromethane or "
    "methanol residue are hazardous; rotors trap fingers."
)
_NUMBERS = "Numbers here describe records, not the part in front of you: look at it."
_RULES = (
    "Restraints, burst panels, service limits and inspection follow the sanctioning body's rules, "
    "the maker's instructions and local codes, and the judgement of qualified people, which all "
    "stand above any number printed here."
)

CAUTIONS = (_HAZARDS, _NUMBERS, _RULES)
"""Shown word for word wherever a chance or an advice is shown."""

ADVICE_MEANS = {
    "run": "the records speak for the runs ahead; no permission to run: look at the part first",
    "look first": "the records alone do not reach the chance asked for, or are too few; "
    "a look tells more",
    "restrip": "the records speak for new strips before the runs ahead",
}
"""What each word of advice says, for a legend."""
