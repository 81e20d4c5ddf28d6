"""Finds the data files that program and tests share: `flows/` and `shared/`, from one source.

An installed wheel carries them as `prompter/packaged/`; a checkout has them beside the package.
"""

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def data_folder(name: str) -> Path:
    """The folder `flows` or `shared`. Raises FileNotFoundError if the installation is incomplete."""
    for root in (_HERE / "packaged", _HERE.parent):
        folder = root / name
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the installation lacks its folder '{name}'; install the package again")


def flow_file(name: str) -> Path:
    """A protocol by name, such as 'breathing-trouble'."""
    return data_folder("flows") / f"{name}.yaml"


def named_flow(name: str) -> Path:
    """A protocol by its name or by its file."""
    by_file = name.endswith((".yaml", ".yml")) or "/" in name or "\\" in name
    return Path(name) if by_file else flow_file(name)


def shared_file(*parts: str) -> Path:
    """A file below `shared/`, such as ('demo-plan.yaml',)."""
    return data_folder("shared").joinpath(*parts)
