"""The symbols of circuit diagrams: schemdraw, which draws SVG here and so goes without matplotlib.

Where matplotlib is installed schemdraw would import it, which takes longer than a drawing.
"""

from __future__ import annotations

import sys

sys.modules.setdefault("schemdraw.backends.mpl", None)  # type: ignore[arg-type]  # not importable, as without matplotlib

import schemdraw  # noqa: E402
import schemdraw.elements as elm  # noqa: E402

__all__ = ["elm", "schemdraw"]
