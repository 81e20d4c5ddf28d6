"""What the live tests have that the live measurements use too."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

LIVE = Path(__file__).resolve().parent.parent / "live"


def live_helper(name: str) -> ModuleType:
    """The module of that name in the folder of the live tests, whatever other folder has one."""
    full = f"live_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, LIVE / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = sys.modules[full] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    return sys.modules[full]
