"""Strip life, clearance wear and leakage of Roots-type racing superchargers."""

__version__ = "0.1.0"
