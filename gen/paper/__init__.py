"""Paper for the shop: a label, drawings of the electrodes, a wall chart of the joints kept, a logbook of welds and trials."""

from gen.paper.electrodes import electrodes_html
from gen.paper.shop import chart_html, days, label_html, logbook_html

__all__ = ["chart_html", "days", "electrodes_html", "label_html", "logbook_html"]
