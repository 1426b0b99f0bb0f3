"""The tests: packages that mirror gen/ and sim/, what they share in support/, and checks against the outside."""

import os

# Before anything reads numpy: the suite's workers take the cores there are, and threads of a sum would only wait for them.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
