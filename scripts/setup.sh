#!/usr/bin/env bash
# Shared by demo.sh and test.sh: words, steps, and the Debian packages. Run by itself, it only sees
# to the packages. Exit status 4: this host cannot be set up, and the text says what to do.
set -euo pipefail

STILLROTOR_ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
STEP=0
STEPS=${STEPS:-1}

say() { printf '%s\n' "$*"; }
step() {
  STEP=$((STEP + 1))
  printf '\n[%d/%d] %s\n' "$STEP" "$STEPS" "$*"
}
host_failed() {
  printf 'stopped: %s\n' "$1" >&2
  shift
  printf '  %s\n' "$@" >&2
  exit 4
}

# The system's own Python, which sees Debian's modules; another one in front of it may not.
python() { if [[ -x /usr/bin/python3 ]]; then /usr/bin/python3 "$@"; else python3 "$@"; fi; }

listed_packages() { sed -e 's/#.*//' "$STILLROTOR_ROOT/scripts/packages.txt" | awk 'NF {print $1, $2 == "unless" ? $3 : ""}'; }

missing_packages() {
  local package unless
  while read -r package unless; do
    [[ -z "$unless" ]] || ! command -v "$unless" >/dev/null || continue
    # A package that was removed but left its settings behind is known to dpkg, yet not installed.
    [[ "$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null)" == installed ]] ||
      printf '%s\n' "$package"
  done < <(listed_packages)
}

# Asks on the terminal; without one the answer is no.
agreed() {
  local answer
  [[ -t 0 && -t 1 ]] || return 1
  read -r -p "$1 [y/N] " answer
  [[ "$answer" == [yY]* ]]
}

# Runs apt-get as root.
apt_as_root() {
  local sudo=()
  if [[ "$(id -u)" != 0 ]]; then
    sudo=(sudo)
    [[ -t 0 ]] || sudo=(sudo -n) # nobody there to type a password
  fi
  "${sudo[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -o DPkg::Lock::Timeout=120 "$@"
}

install_packages() {
  local by_hand="apt-get install --no-install-recommends $*" plan removed
  [[ "$(id -u)" == 0 ]] || by_hand="sudo $by_hand"
  command -v apt-get >/dev/null ||
    host_failed "there is no apt-get here to install packages with" "Needed: $*"
  if [[ "$(id -u)" != 0 ]] && ! command -v sudo >/dev/null; then
    host_failed "installing packages needs root, and sudo is not there" "As root: ${by_hand#sudo }"
  fi
  say "Reading package lists (apt-get update) ..."
  apt_as_root -qq -o APT::Update::Error-Mode=any update ||
    say "The package lists could not be refreshed (network?); going on with those on disk."
  plan=$(LC_ALL=C apt-get -s install --no-install-recommends "$@" 2>&1) || {
    printf '%s\n' "$plan" | tail -n 12 >&2
    host_failed "apt-get cannot install these packages" \
      "Check the network and that the sources name Debian 12 (bookworm), main. By hand: $by_hand"
  }
  removed=$(awk '$1 == "Remv" {print "  " $2}' <<<"$plan")
  if [[ -n "$removed" ]]; then
    say "Installing these packages would REMOVE, because they exclude one another:"
    say "$removed"
    agreed "Remove them and go on?" ||
      host_failed "packages of yours are not removed without your consent" \
        "If you can do without them: $by_hand" \
        "Otherwise build in a container or a virtual machine with Debian 12."
  fi
  say "Installing (apt-get install): $*"
  apt_as_root -y -qq install --no-install-recommends "$@" ||
    host_failed "apt-get install failed; its own words are above" "By hand: $by_hand"
}

ensure_packages() {
  local os="an unknown system" id="" missing
  local release=${STILLROTOR_OS_RELEASE:-/etc/os-release} # a test names another one
  if [[ -r "$release" ]]; then
    # shellcheck disable=SC1090
    { os=$(. "$release" && printf '%s' "${PRETTY_NAME:-}")
      id=$(. "$release" && printf '%s-%s' "${ID:-}" "${VERSION_ID:-}"); }
  fi
  command -v dpkg-query >/dev/null ||
    host_failed "this is $os; Stillrotor is built and tested on Debian 12" \
      "Use Debian 12 (a container or a virtual machine does). It needs the packages of scripts/packages.txt."
  mapfile -t missing < <(missing_packages)
  if [[ ${#missing[@]} == 0 ]]; then
    say "All $(listed_packages | wc -l) packages are there."
    return
  fi
  [[ "$id" == debian-12 ]] ||
    host_failed "this is $os, and nothing is installed on other systems than Debian 12" \
      "Missing here, by their Debian 12 names: ${missing[*]}"
  say "Missing: ${missing[*]}"
  install_packages "${missing[@]}"
}

# Builds the preset with all that follows as targets.
build_preset() {
  local preset=$1 targets=()
  shift
  [[ $# == 0 ]] || targets=(--target "$@")
  cmake --build "$STILLROTOR_ROOT/build/$preset" -j "$(nproc)" "${targets[@]}"
}
configure_preset() {
  (cd "$STILLROTOR_ROOT" && cmake --preset "$@" -DSTILLROTOR_COMMON_HEADERS=ON --log-level=NOTICE)
}

if [[ "${BASH_SOURCE[0]}" == "$0" ]]; then
  [[ $# == 0 ]] || { say "usage: scripts/setup.sh   installs what scripts/packages.txt lists"; exit 2; }
  ensure_packages
fi
