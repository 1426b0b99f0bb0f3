"""Reads the net list of stripboards from copper, links and pins alone, by graph: knows no net but those on the solder pins.

Every hole is a node. Neighbours on a strip are joined unless a cut or a peeled strip is between; links join their ends;
solder pins of one name are joined by the lead between them. What is left joined is a net.
"""

from __future__ import annotations

from collections.abc import Iterable

import networkx as nx

from gen.wiring.interface.stripboard import StripLayout


def copper(layout: StripLayout) -> nx.Graph:
    """The holes that have copper, joined as the strips join them."""
    graph = nx.Graph()
    cuts = set(layout.cuts)
    for strip in range(layout.strips):
        for hole in range(layout.holes):
            beyond = layout.band is not None and hole > layout.band[1]
            peeled = not (layout.right_nets if beyond else layout.nets)[strip]
            inside = layout.band is not None and layout.band[0] <= hole <= layout.band[1]
            if peeled or inside or (hole, strip) in cuts:
                continue
            graph.add_node((layout.name, hole, strip))
            if (layout.name, hole - 1, strip) in graph:
                graph.add_edge((layout.name, hole - 1, strip), (layout.name, hole, strip))
    return graph


def read_nets(layouts: Iterable[StripLayout]) -> set[frozenset[str]]:
    """Every net as the set of its pins, such as "R33.1". Raises AssertionError where something is soldered to no copper."""
    graph, pins = nx.Graph(), {}
    for layout in layouts:
        graph = nx.compose(graph, copper(layout))
        used = set()
        for fitting in layout.fittings:
            for pin, (hole, strip) in fitting.holes:
                node = (layout.name, hole, strip)
                assert node in graph, f"{fitting.part}.{pin} is on no copper"
                assert node not in used, f"{fitting.part}.{pin} has its hole taken"
                used.add(node)
                pins[f"{fitting.part}.{pin}"] = node
        for ends in layout.links:
            for hole, strip in ends:
                assert (layout.name, hole, strip) in graph, "a link ends on no copper"
                assert (layout.name, hole, strip) not in used, "a link's hole is taken"
                used.add((layout.name, hole, strip))
            (a, b), (c, d) = ends
            graph.add_edge((layout.name, a, b), (layout.name, c, d))
        for name, (hole, strip) in layout.leads:
            assert (layout.name, hole, strip) in graph, f"lead {name} is on no copper"
            assert (layout.name, hole, strip) not in used, f"lead {name} has its hole taken"
            used.add((layout.name, hole, strip))
            graph.add_edge((layout.name, hole, strip), ("lead", name))
    found = []
    for joined in nx.connected_components(graph):
        found.append(frozenset(pin for pin, node in pins.items() if node in joined))
    return {net for net in found if net}
