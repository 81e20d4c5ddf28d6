"""A voice that takes a caregiver through a breathing emergency at a home tracheostomy."""

import os

__version__ = "0.1.0"

# Small matrix products gain nothing from a second thread, and on a busy computer its two threads wait
# for each other: the recogniser's front end then takes 15 ms of computing and not 2. To be set before
# numpy is loaded; who has set it keeps theirs.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
