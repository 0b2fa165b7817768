"""Figures of the report."""
from wearstats_reports.report import SeasonReport, UnitReport
def boost(unit: UnitReport): return None
def clearance(unit: UnitReport): return None
def strip_height(unit: UnitReport): return None
def unit_lives(report: SeasonReport, unit: UnitReport): return None
def fleet_lives(report: SeasonReport): return None
def cost(report: SeasonReport): return None
