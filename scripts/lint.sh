#!/usr/bin/env bash
# Looks at what the compiler does not: shell scripts, the Python of the training, and the dependencies' licences,
# duplicates and sources. `scripts/lint.sh advisories` holds the dependencies against the database of known faults
# instead; that is fetched, which needs a network that reaches it.
set -euo pipefail
cd "$(dirname "$0")/.."
deps="${ZONECALL_DEPS:-$PWD/.deps}"

scripts/setup.sh lint
if [ "${1:-}" = advisories ]; then
    exec "$deps/lint/bin/cargo-deny" --locked check advisories
fi
mapfile -t scripts < <(git ls-files '*.sh' .ci/run packaging/postinst)
shellcheck "${scripts[@]}"
"$deps/lint/bin/ruff" check --quiet
"$deps/lint/bin/cargo-deny" --locked check bans licenses sources
