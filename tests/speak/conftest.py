"""Lets the tests of this folder share their parts."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # mixer_parts: importlib mode adds no folder
