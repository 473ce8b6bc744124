"""The pages a county publishes: plain data in, one self-contained HTML document out."""

from trialkit.report.page import report_html
from trialkit.report.plan_page import plan_html

__all__ = ["plan_html", "report_html"]
