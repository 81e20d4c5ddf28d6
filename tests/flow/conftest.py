"""Puts this folder's driver and variants within reach of its tests."""

import gc
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
gc.set_threshold(100_000)  # tables are many small objects that stay: looking through them again and again takes minutes
