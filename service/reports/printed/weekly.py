"""The weekly report on paper: what its page says, laid out by a template; first the site, then a page a system."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from service.reports import wording
from service.reports.page import Report, render_html
from service.reports.printed.drawings import drawing_styles
from service.reports.printed.flow import title_and_flow
from service.reports.printed.setting import set_pages

FIELD_WIDTH = 592  # pixels of a plot's field; the template sets the plot, with its scale, as wide as the page's text


def weekly_pages(report: Report, *, at: datetime, paper: str) -> bytes:
    """A PDF of the report on `a4` or `letter`; its foot says the site, the week and the instant `at` it was made.

    Raises Busy and NotPrinted as `set_pages` does.
    """
    title, flow = title_and_flow(render_html(report, field_width=FIELD_WIDTH), drawing_styles())
    zone = ZoneInfo(report["site"]["time_zone"])
    content = {
        "title": title,
        "paper": paper,
        "flow": flow,
        "site": report["site"]["name"],
        "week": report["week"],
        "made": f"{wording.day(at, zone)}, {wording.instant(at).astimezone(zone):%H:%M}",
    }
    return set_pages("weekly.typ", content, at=at)
