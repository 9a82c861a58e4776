#!/usr/bin/env python3
"""The unit says nothing that systemd does not understand, and what it may use the udev rules open.

77 (skipped) where systemd-analyze is missing.
"""
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
SERVICE = ROOT / "configs" / "service"
UNIT = (SERVICE / "stillrotor@.service").read_text()


def read(path):
    return (ROOT / path).read_text()


def verify(unit):
    """What systemd has to say of the unit; the program need not be installed for it."""
    unit = unit.replace("/usr/local/bin/stillrotor", shutil.which("true"))
    unit = re.sub(r"^Documentation=.*$", "", unit, flags=re.M)
    with tempfile.TemporaryDirectory() as folder:
        file = pathlib.Path(folder) / "stillrotor@bench.service"
        file.write_text(unit)
        ran = subprocess.run(["systemd-analyze", "verify", str(file)], capture_output=True, text=True)
    said = [line for line in (ran.stdout + ran.stderr).splitlines() if "stillrotor@" in line]
    return ran.returncode, "\n".join(said)


class Unit(unittest.TestCase):
    def test_is_understood(self):
        self.assertEqual(verify(UNIT), (0, ""))

    def test_a_wrong_word_would_show(self):
        status, said = verify(UNIT.replace("LimitRTPRIO", "LimitRTPRIORITY"))
        self.assertIn("LimitRTPRIORITY", said)

    def test_never_starts_again_by_itself_and_ends_in_order(self):
        self.assertIn("\nRestart=no\n", UNIT)
        self.assertIn("\nKillSignal=SIGINT\n", UNIT)

    def test_grants_the_priority_that_a_bench_may_ask_for_below_the_kernels_own(self):
        highest = int(re.search(r"highest_priority = (\d+);", read("emulator/bench/highest_priority.hpp"))[1])
        self.assertLess(highest, 99)
        self.assertEqual(re.findall(r"^LimitRTPRIO=(\d+)$", UNIT, re.M), [str(highest)])
        self.assertIn(f"priority up to {highest} |", read("docs/service.md"))
        real_time = read("docs/real-time.md")
        self.assertEqual(set(re.findall(r"(?:rtprio |LimitRTPRIO=)(\d+)", real_time)), {str(highest)})
        self.assertIn(f"at most {highest - 1}; the watchdog has one more", real_time)


class Rules(unittest.TestCase):
    ASSIGNMENT = re.compile(r'(SUBSYSTEM|KERNEL)=="[^"]+"|(GROUP|MODE)="[^"]+"')

    def test_every_line_is_a_match_and_two_assignments(self):
        lines = [line for line in (SERVICE / "70-stillrotor.rules").read_text().splitlines()
                 if line and not line.startswith("#")]
        self.assertGreaterEqual(len(lines), 5)
        for line in lines:
            for part in line.split(", "):
                self.assertRegex(part, self.ASSIGNMENT)
            self.assertIn('GROUP="stillrotor", MODE="0660"', line)

    def test_opens_each_class_that_the_unit_allows(self):
        rules = (SERVICE / "70-stillrotor.rules").read_text()
        for device, rule in {"char-gpiochip": "gpio", "char-spi": "spidev", "char-iio": "iio",
                             "char-uio": "uio", "/dev/cpu_dma_latency": "cpu_dma_latency"}.items():
            self.assertIn(f"DeviceAllow={device} rw", UNIT)
            self.assertIn(rule, rules)


if __name__ == "__main__":
    if not shutil.which("systemd-analyze"):
        print("SKIPPED: systemd-analyze is not installed here (package systemd)")
        sys.exit(77)
    unittest.main()
