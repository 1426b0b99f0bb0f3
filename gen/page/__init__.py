"""The page: the whole job in a browser, for one folder, on this computer only.

Built on the same values and functions as the command line. `server.serve` runs it.
"""

from gen.page.server import Served, serve

__all__ = ["Served", "serve"]
