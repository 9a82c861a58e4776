# Shared by the scripts here. Exit status 77: this test cannot run on this machine; CTest says
# SKIPPED and shows why.
set -euo pipefail

skipped() { printf 'SKIPPED: %s\n' "$*"; exit 77; }
failed() { printf 'FAILED: %s\n' "$*" >&2; exit 1; }
need() {
  local program
  for program in "$@"; do
    command -v "$program" >/dev/null || skipped "$program is not installed (scripts/packages.txt)"
  done
}

# One fetch at a time, whoever asks. Until the file given is there, runs the function given.
once() {
  local made=$1 make=$2
  mkdir -p "$(dirname "$made")"
  exec 9>"$(dirname "$made")/.lock"
  flock 9
  [[ -e "$made" ]] || "$make"
  exec 9>&-
  [[ -e "$made" ]] || failed "$make did not make $made"
}

# apt with lists and settings of its own below FOLDER: the machine's lists are neither read nor
# changed, and no packages are installed. apt_lists FOLDER SUITE...
apt_lists() {
  local folder=$1 base security target uri release component
  shift
  need apt-get dpkg
  mkdir -p "$folder"/{lists/partial,cache/archives/partial}
  base="" security=""
  while read -r uri release component; do
    [[ $component == main ]] || continue
    case $release in
      bookworm) base=${base:-$uri} ;;
      bookworm-security) security=${security:-$uri} ;;
    esac
  done < <(apt-get indextargets 'Created-By: Packages' \
    --format '$(REPO_URI) $(RELEASE) $(COMPONENT)' 2>/dev/null)
  [[ -n "$base" ]] || skipped "apt on this machine has no source of Debian 12 (bookworm) to fetch from"
  : >"$folder/sources.list"
  for target in "$@"; do
    case $target in
      *-security) uri=$security ;;
      *) uri=$base ;;
    esac
    [[ -z "$uri" ]] || printf 'deb [signed-by=%s] %s %s main\n' \
      /usr/share/keyrings/debian-archive-keyring.gpg "$uri" "$target" >>"$folder/sources.list"
  done
  APT=(-o "Dir::Etc::sourcelist=$folder/sources.list" -o Dir::Etc::sourceparts=-
    -o "Dir::State::lists=$folder/lists" -o "Dir::Cache=$folder/cache"
    -o APT::Sandbox::User= -o Acquire::Retries=2)
  apt-get "${APT[@]}" -qq -o APT::Update::Error-Mode=any update >"$folder/apt.log" 2>&1 ||
    skipped "package lists of $* cannot be fetched: $(tail -n 1 "$folder/apt.log")"
}
# Into the current folder.
apt_fetch() {
  apt-get "${APT[@]}" -qq download "$@" >apt.log 2>&1 ||
    skipped "cannot be fetched: $* ($(tail -n 1 apt.log))"
}
