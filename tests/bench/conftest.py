"""The measurements' own arithmetic is tested; the measurements themselves are commands."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))  # importlib mode adds no folder
