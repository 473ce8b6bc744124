"""The page a county publishes: results in, one self-contained HTML document out."""

from trialkit.report.page import report_html

__all__ = ["report_html"]
