"""Room: packaging. Maps the flat folders of the house into the one namespace `pourcall`.

Everything else about the package stands in pyproject.toml; only this mapping needs code, because the folders
lie beside `pourcall/` and not in it. The committed links `pourcall/daemon -> ../daemon` and so on serve type
checkers and editors alone; they are left out here, so that a checkout without links builds the same wheel.
"""

from setuptools import find_namespace_packages, find_packages, setup

ROOMS = ("daemon", "drivers", "profiles", "sim", "tui")

own = [name for name in find_packages("pourcall") if name.split(".")[0] not in ROOMS]
packages = ["pourcall", *(f"pourcall.{name}" for name in own)]
for room in ROOMS:
    # Folders of data alone (sheets, schema, firmware) count as packages too: setuptools wants them named.
    inner = find_namespace_packages(room, exclude=["*__pycache__*"])
    packages += [f"pourcall.{room}", *(f"pourcall.{room}.{name}" for name in inner)]

setup(
    packages=packages,
    package_dir={"pourcall": "pourcall", **{f"pourcall.{room}": room for room in ROOMS}},
)
