#!/usr/bin/env bash
# usage: vm.sh KIT STORY PROGRAM [FILE...]. Boots a throw-away machine with a simulated GPIO chip, and
# PROGRAM at /program and FILEs at / in it, and runs the shell script STORY there. The processor is
# emulated: what is timed in there says nothing of a real one. CLOCK: more options of the machine.
. "$(dirname "$0")/words.sh"
KIT=$1 STORY=$2 PROGRAM=$3
shift 3
need qemu-system-x86_64 busybox cpio gzip ldd

root=$(mktemp -d)
initrd=$(mktemp)
trap 'rm -rf "$root" "$initrd"' EXIT
mkdir -p "$root"/{bin,mod,proc,sys,dev,tmp}
cp "$(command -v busybox)" "$root/bin/busybox"
cp "$KIT"/{configfs,irq_sim,gpio-sim}.ko "$root/mod"
cp "$PROGRAM" "$root/program"
cp "$STORY" "$root/story"
(($# == 0)) || cp -r "$@" "$root"
ldd "$PROGRAM" | awk '$2 == "=>" {print $3} $1 ~ /^\// {print $1}' | while read -r library; do
  mkdir -p "$root$(dirname "$library")"
  cp "$library" "$root$library"
done
cat >"$root/init" <<'INIT'
#!/bin/busybox sh
/bin/busybox --install -s /bin
mount -t proc p /proc; mount -t sysfs s /sys; mount -t devtmpfs d /dev
for m in configfs irq_sim gpio-sim; do insmod /mod/$m.ko; done
mount -t configfs c /sys/kernel/config
G=/sys/kernel/config/gpio-sim/bench
mkdir -p $G/bank0
echo 32 >$G/bank0/num_lines
echo bench >$G/bank0/label
i=0
for name in UH UL VH VL WH WL HALL_U HALL_V HALL_W KEY FAULT STOP BUS DOG; do
  mkdir $G/bank0/line$i
  echo $name >$G/bank0/line$i/name
  i=$((i + 1))
done
echo 1 >$G/live
export SIM_SWITCH=$G/live
export SIM=/sys/devices/platform/$(cat $G/dev_name)/$(cat $G/bank0/chip_name)
sh /story
echo "VM_EXIT=$?"
poweroff -f
INIT
chmod +x "$root/init"
(cd "$root" && find . | cpio -o -H newc --quiet | gzip -1) >"$initrd"

# Never KVM: where its device exists, guests may hang all the same.
log=$(timeout 450 qemu-system-x86_64 -accel tcg ${CLOCK:-} -M pc -smp 1 -m 512 -nodefaults \
  -nographic -serial stdio -no-reboot -kernel "$KIT/vmlinux" -initrd "$initrd" \
  -append "console=ttyS0 quiet panic=-1" </dev/null 2>&1 | tr -d '\r') || true
printf '%s\n' "$log"
# A program that ran nothing has not passed.
grep -q '^VM_EXIT=0$' <<<"$log" && grep -Eq '^\[  PASSED  \] [1-9][0-9]* tests?\.' <<<"$log" ||
  failed "the program inside did not pass"
