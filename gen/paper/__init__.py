"""Paper for the shop: a label for the machine, a wall chart of the joints kept, a logbook of welds and trials."""

from gen.paper.shop import chart_html, days, label_html, logbook_html

__all__ = ["chart_html", "days", "label_html", "logbook_html"]
