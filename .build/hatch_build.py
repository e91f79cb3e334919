"""Fetches the pinned front-end files from npm; puts the data folders into wheels.

An editable install reads the folders of the repository, so only a wheel takes copies.
"""

import shutil
import tempfile
from pathlib import Path
from typing import Any

from hatch_npm_vendor.plugin import DEFAULT_REGISTRY
from hatch_npm_vendor.vendor import should_skip, vendor_package
from hatchling.builders.hooks.plugin.interface import BuildHookInterface

DATA_FOLDERS = ("templates", "static", "exercises", "migrations")


class FrontEndFiles(BuildHookInterface):  # type: ignore[type-arg]
    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        root = Path(self.root)
        if not should_skip():
            for spec in self.config["npm"]:
                fetch(root / spec["dest"], spec)
        if version != "editable":
            for folder in DATA_FOLDERS:
                build_data["force_include"][str(root / folder)] = f"server/{folder}"


def fetch(dest: Path, spec: dict[str, Any]) -> None:
    """Put the named files of one npm package into ``dest``, unless this pin is there already."""
    pin = dest / ".pin"
    wanted = f"{spec['package']}@{spec['version']} {spec['integrity']}\n"
    names = [Path(file).name for file in spec["files"]]
    complete = all((dest / name).is_file() for name in names)
    if complete and pin.is_file() and pin.read_text() == wanted:
        return
    with tempfile.TemporaryDirectory() as folder:
        unpacked = Path(folder) / "package"
        vendor_package(
            unpacked,
            spec["package"],
            spec["version"],
            spec["integrity"],
            registry=DEFAULT_REGISTRY,
        )
        shutil.rmtree(dest, ignore_errors=True)
        dest.mkdir(parents=True)
        for file, name in zip(spec["files"], names, strict=True):
            shutil.copyfile(unpacked / file, dest / name)
    pin.write_text(wanted)
