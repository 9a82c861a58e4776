#!/usr/bin/env bash
# From a fresh Debian 12 to a driven motor: packages, build, three runs, one table.
set -euo pipefail
STEPS=4
. "$(cd "$(dirname "$0")" && pwd)/scripts/setup.sh"

usage() {
  cat <<'TEXT'
usage: ./demo.sh [--help]

Installs what is missing (Debian packages, through apt), builds build/release/stillrotor, drives two
machines of an orchard cart, one by a real firmware binary and one by the built-in field-oriented
controller, breaks a Hall wire of the first, and shows what came of it. Later runs only rebuild what changed. No hardware is touched.

exit status: 0 every run came to a verdict; 2 wrong option; 4 this machine could not be set up,
or a run did not come to a verdict.
TEXT
}
case "${1:-}" in
  "") ;;
  -h | --help) usage; exit 0 ;;
  *) usage >&2; exit 2 ;;
esac
cd "$STILLROTOR_ROOT"

step "Debian packages"
ensure_packages

step "Configure (build/release)"
configure_preset release

step "Build the program and the firmware of its benches"
build_preset release stillrotor firmware_shipped

step "Drive"
out=runs/demo-$(date -u +%Y%m%dT%H%M%SZ)
mkdir -p "$out"
folders=()
drive() { # bench scenario
  local folder=$out/$1-$2 status=0
  say
  say "$1, $2:"
  build/release/stillrotor run "configs/benches/orchard-cart-$1.yaml" "configs/scenarios/$2.yaml" \
    --out "$folder" || status=$?
  # 0, 1 and 3 are verdicts; anything else means that there is none.
  case $status in
    0 | 1 | 3) folders+=("$folder") ;;
    130 | 143) exit "$status" ;;
    *) host_failed "the run ended with status $status and no verdict" "Its words are above." ;;
  esac
}
drive hub first-drive
drive mid first-drive
drive hub hall-wire-breaks

say
python scripts/demo_table.py "${folders[@]}"
