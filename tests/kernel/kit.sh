#!/usr/bin/env bash
# usage: kit.sh KIT. Makes what a test machine needs: Debian's own kernel, and the simulated GPIO
# chip, which Debian does not build, from that kernel's own source. Fetched, never committed.
. "$(dirname "$0")/words.sh"
KIT=$(realpath -m "$1")

make_kit() {
  need make gcc ld tar xz ar
  local work=$KIT/work image version release headers
  rm -rf "$work"
  mkdir -p "$work/fetched"
  cd "$work/fetched"
  apt_lists "$KIT/apt" bookworm bookworm-security
  image=$(apt-cache "${APT[@]}" depends linux-image-amd64 | awk '$1 == "Depends:" {print $2; exit}')
  version=$(apt-cache "${APT[@]}" show --no-all-versions linux-image-amd64 |
    awk '$1 == "Version:" {print $2}')
  [[ -n "$image" && -n "$version" ]] || skipped "apt knows no kernel (linux-image-amd64)"
  release=${image#linux-image-}
  apt_fetch "$image" "linux-headers-$release" "linux-headers-${release%-amd64}-common=$version" \
    "linux-kbuild-6.1=$version" "linux-source-6.1=$version"
  for file in ./*.deb; do
    case $file in
      ./linux-source*) continue ;;
      *) dpkg -x "$file" "$work" ;;
    esac
  done
  # The source is large; only these four files are wanted, and never written out but for them.
  local wanted=(drivers/gpio/gpio-sim.c drivers/gpio/gpiolib.h kernel/irq/irq_sim.c
    scripts/extract-vmlinux)
  dpkg --fsys-tarfile linux-source-6.1_*.deb 2>/dev/null | tar -xO ./usr/src/linux-source-6.1.tar.xz |
    xz -dc -T0 | tar -x -C "$work" --occurrence=1 "${wanted[@]/#/linux-source-6.1/}" 2>/dev/null || true
  for file in "${wanted[@]}"; do
    [[ -s "$work/linux-source-6.1/$file" ]] || skipped "the kernel's source has no $file any more"
  done

  local modules=$work/modules source=$work/linux-source-6.1
  mkdir -p "$modules"
  cp "$source"/drivers/gpio/gpio-sim.c "$source"/drivers/gpio/gpiolib.h "$source"/kernel/irq/irq_sim.c \
    "$modules"
  printf 'obj-m += irq_sim.o gpio-sim.o\n' >"$modules/Kbuild"
  # Made for the inside of a kernel: as a module it states a licence, and reaches no descriptor.
  printf '#include <linux/module.h>\nMODULE_LICENSE("GPL");\n' >>"$modules/irq_sim.c"
  sed -i 's/handle_simple_irq(irq_to_desc(irqnum))/generic_handle_irq(irqnum)/' "$modules/irq_sim.c"
  headers=$work/usr/src/linux-headers-$release
  sed -i "s|/usr/src|$work/usr/src|" "$headers/Makefile"
  make -C "$headers" M="$modules" CC="$(command -v gcc-12 || command -v gcc)" modules >"$KIT/modules.log" 2>&1 ||
    failed "the simulated chip does not compile; see $KIT/modules.log"

  cp "$modules"/{irq_sim,gpio-sim}.ko "$work/lib/modules/$release/kernel/fs/configfs/configfs.ko" "$KIT"
  bash "$source/scripts/extract-vmlinux" "$work/boot/vmlinuz-$release" >"$KIT/vmlinux.part" ||
    failed "Debian's kernel image cannot be unpacked"
  rm -rf "$work" "$KIT/apt"
  mv "$KIT/vmlinux.part" "$KIT/vmlinux"
}

once "$KIT/vmlinux" make_kit
