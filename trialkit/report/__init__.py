"""The pages a county publishes: plain data in, one self-contained HTML document out."""

from trialkit.report.check_page import asked_gardens, check_html
from trialkit.report.evidence_page import evidence_html
from trialkit.report.handout import handout_html
from trialkit.report.page import report_html
from trialkit.report.plan_page import plan_html

__all__ = ["asked_gardens", "check_html", "evidence_html", "handout_html", "plan_html", "report_html"]
