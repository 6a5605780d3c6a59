"""Where a file that a person named is written: never in the place of a device, a pipe or a link."""

from pathlib import Path

from pourcall.contract.errors import BadInput
from pourcall.contract.message import tell


def output_file(path: Path) -> Path:
    """The file to be replaced, a link followed to what it stands for. Raises BadInput for what is no plain file."""
    target = path.resolve() if path.is_symlink() else path
    if target.exists() and not target.is_file():
        raise BadInput(tell("error.no_plain_file"), where=str(path), remedy=tell("error.no_plain_file.remedy"))
    return target
