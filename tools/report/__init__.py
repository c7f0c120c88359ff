"""The report of one run or several: one HTML file that needs nothing from outside."""

from tools.report.page import write_report
from tools.report.runs import ReportRun

__all__ = ["ReportRun", "write_report"]
