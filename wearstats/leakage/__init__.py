"""Leak flow, weather and boost: from clearances to the pressure they cost."""
