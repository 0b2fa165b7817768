"""The sections of a page: each a frozen value and the function that makes it from the fits."""
