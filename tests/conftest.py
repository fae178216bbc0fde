"""What holds for every test.

The first call of a kernel compiles it, so a time limit per example says nothing. Tests run two at a
time on two cores; threads of the linear algebra library would only wait for each other.
"""

import os

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
settings.register_profile("compiled", deadline=None)
settings.load_profile("compiled")
