"""Holds every installed package against known advisories and accepted licences, without a network.

    uv run python -m tests.audit            # exit status 1 when something is wrong
    uv run python -m tests.audit --refresh  # with a network: asks an advisory database by pip-audit

It says how old its data are: `.ci/advisories.toml` knows no advisory that came later.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.metadata import Distribution, distributions
from pathlib import Path
from typing import Any

from packaging.utils import canonicalize_name
from packaging.version import Version

from server.paths import PACKAGE

DATA = PACKAGE.parent / ".ci" / "advisories.toml"
OLD_AFTER_DAYS = 90


@dataclass(frozen=True, slots=True)
class Package:
    """One installed distribution; ``licence`` in its metadata's words, empty if it says none."""

    name: str
    version: str
    licence: str


def installed() -> list[Package]:
    found = {canonicalize_name(each.metadata["Name"]): each for each in distributions()}
    return [Package(name, each.version, _licence(each)) for name, each in sorted(found.items())]


def _licence(distribution: Distribution) -> str:
    told = distribution.metadata
    classified = [
        line.rpartition(" :: ")[2]
        for line in told.get_all("Classifier", [])
        if line.startswith("License :: ") and line.count(" :: ") > 1
    ]
    (expression,) = told.get_all("License-Expression", [""])
    (free,) = told.get_all("License", [""])
    return str(expression or " AND ".join(classified) or free.partition("\n")[0])


def wrong_with(packages: Sequence[Package], data: dict[str, Any]) -> Iterator[str]:
    """A sentence for each package that must not be used as it is."""
    for package in packages:
        for advisory in data["advisory"]:
            if advisory["package"] == package.name and _affected(package.version, advisory):
                yield (
                    f"{package.name} {package.version} has {advisory['id']}. "
                    f"Use {advisory.get('fixed_in', 'another package')} or newer."
                )
        if package.name not in data["licences"]["also"] and not _accepted(package.licence, data):
            yield (
                f"{package.name} {package.version}: its licence {package.licence or '(none told)'} "
                f"is not among those accepted. Look at it, then name the package in {DATA.name}."
            )


def _affected(version: str, advisory: dict[str, str]) -> bool:
    found = Version(version)
    since, fixed = advisory.get("since"), advisory.get("fixed_in")
    return not (since and found < Version(since)) and not (fixed and found >= Version(fixed))


def _accepted(licence: str, data: dict[str, Any]) -> bool:
    accepted = {each.lower() for each in data["licences"]["accepted"]}
    # One of those joined by OR is enough.
    return any(
        all(part.strip().lower() in accepted for part in choice.split(" AND "))
        for choice in licence.split(" OR ")
    )


def age(data: dict[str, Any], today: date) -> str:
    asked = data["asked_on"]
    if asked == "never":
        return "No advisory database was ever asked; only what was written by hand is known."
    days = (today - date.fromisoformat(asked)).days
    told = f"An advisory database was asked on {asked}, {days} days ago."
    return f"{told} That is old." if days > OLD_AFTER_DAYS else told


def refreshed(text: str, report: dict[str, Any], today: date) -> str:
    """The data's text with what pip-audit reports. Raises ValueError if that is not all."""
    skipped = [each["name"] for each in report["dependencies"] if "skip_reason" in each]
    if skipped:
        raise ValueError(f"{len(skipped)} packages could not be asked about, {skipped[0]} first.")
    known = {(each["package"], each["id"]) for each in tomllib.loads(text)["advisory"]}
    added = []
    for each in report["dependencies"]:
        for found in each["vulns"]:
            name = canonicalize_name(each["name"])
            if (name, found["id"]) in known:
                continue
            fixed = sorted(map(Version, found["fix_versions"]))
            lines = ["[[advisory]]", f'package = "{name}"', f'since = "{each["version"]}"']
            # The first fix above the version that was asked about.
            lines += [f'fixed_in = "{fix}"' for fix in fixed if fix > Version(each["version"])][:1]
            lines += [f'id = "{found["id"]}"', f'source = "pip-audit, {today}"']
            added.append("\n".join(lines))
    text = re.sub(r'(?m)^asked_on = ".*"$', f'asked_on = "{today}"', text)
    before, mark, after = text.partition("[licences]")
    return "\n\n".join([before.rstrip(), *added, mark + after])


def _ask(packages: Sequence[Package]) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "requirements.txt"
        file.write_text(
            "\n".join(f"{p.name}=={p.version}" for p in packages if p.name != "rungmark")
        )
        options = ["--no-deps", "--disable-pip", "--format", "json", "-r", str(file)]
        # It fails when it finds something; what it prints says so, too.
        asked = subprocess.run(
            ["uvx", "pip-audit", *options], stdout=subprocess.PIPE, text=True, check=False
        )
    report: dict[str, Any] = json.loads(asked.stdout)
    return report


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--refresh", action="store_true", help="ask an advisory database first")
    packages = installed()
    text = DATA.read_text(encoding="utf-8")
    if parser.parse_args().refresh:
        try:
            text = refreshed(text, _ask(packages), date.today())
        except ValueError as partial:
            print(f"The data were left as they were: {partial}", file=sys.stderr)
            return 1
        DATA.write_text(text, encoding="utf-8")
    data = tomllib.loads(text)
    wrong = list(wrong_with(packages, data))
    known = len(data["advisory"])
    print(f"{len(packages)} packages against {known} advisories. {age(data, date.today())}")
    print("\n".join(wrong))
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
