#!/usr/bin/env bash
# usage: libgpiod2.sh FOLDER. Unpacks libgpiod 2 from Debian's backports below FOLDER, beside the
# installed library.
. "$(dirname "$0")/words.sh"
FOLDER=$(realpath -m "$1")

unpack() {
  mkdir -p "$FOLDER/fetched"
  cd "$FOLDER/fetched"
  apt_lists "$FOLDER/apt" bookworm bookworm-backports
  apt_fetch libgpiod-dev/bookworm-backports libgpiod3/bookworm-backports
  for file in ./*.deb; do dpkg -x "$file" "$FOLDER"; done
  rm -rf "$FOLDER/apt" "$FOLDER/fetched"
  touch "$FOLDER/unpacked"
}

once "$FOLDER/unpacked" unpack
