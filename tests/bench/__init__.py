"""Measured, not asserted: run by hand, prints ratios."""

import os

# On one core, as the goals are stated; before NumPy is first imported. Threads of several processes get in each other's way.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
