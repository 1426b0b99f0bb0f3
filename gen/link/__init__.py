"""The serial link to a board: what is said (`messages`), how (`framing`), and by whom (`client.Link`)."""

from gen.link.client import Link
from gen.link.errors import LinkError

__all__ = ["Link", "LinkError"]
