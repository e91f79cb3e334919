#!/usr/bin/env bash
# Renews .build/constraints.txt: every package that a server needs, pinned, with its sha256 hashes.
set -euo pipefail
cd "$(dirname "$0")/.."
uv lock --upgrade --quiet
uv export --quiet --no-dev --no-emit-project --no-annotate --no-header --output-file .build/constraints.txt
