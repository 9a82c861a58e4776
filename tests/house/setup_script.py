#!/usr/bin/env python3
"""scripts/setup.sh on hosts that are not this one: dpkg-query, apt-get, id and sudo are stand-ins."""
import pathlib
import shutil
import subprocess
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
TOOLS = ("bash", "awk", "sed", "env", "wc", "tail", "cat", "dirname", "grep")

DPKG_QUERY = """#!/bin/bash
grep -qx "${@: -1}" "$HOST/absent" && exit 1
grep -qx "${@: -1}" "$HOST/removed" && { printf config-files; exit 0; }
printf installed
"""
APT_GET = """#!/bin/bash
echo "$*" >>"$HOST/calls"
case "$*" in
  *-s\\ install*) cat "$HOST/plan"; [[ ! -e "$HOST/plan-fails" ]] ;;
  *update*) [[ ! -e "$HOST/no-network" ]] ;;
  *install*) [[ ! -e "$HOST/install-fails" ]] ;;
esac
"""


class Host(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.host = pathlib.Path(folder.name)
        (self.host / "bin").mkdir()
        for tool in TOOLS:
            (self.host / "bin" / tool).symlink_to(shutil.which(tool))
        self.tool("dpkg-query", DPKG_QUERY)
        self.tool("apt-get", APT_GET)
        self.tool("id", "#!/bin/bash\necho 0\n")
        for name in ("absent", "removed", "calls"):
            (self.host / name).touch()
        self.write("plan", "Inst libelf-dev (0.188)\n")
        self.write("os-release", 'PRETTY_NAME="Debian GNU/Linux 12 (bookworm)"\nID=debian\nVERSION_ID="12"\n')

    def write(self, name, text=""):
        (self.host / name).write_text(text)

    def tool(self, name, text):
        self.write("bin/" + name, text)
        (self.host / "bin" / name).chmod(0o755)

    def run_setup(self, status):
        ran = subprocess.run(
            [shutil.which("bash"), str(ROOT / "scripts" / "setup.sh")], stdin=subprocess.DEVNULL,
            capture_output=True, text=True,
            env={"PATH": str(self.host / "bin"), "HOST": str(self.host),
                 "STILLROTOR_OS_RELEASE": str(self.host / "os-release")})
        said = ran.stdout + ran.stderr
        self.assertEqual(ran.returncode, status, said)
        return said, (self.host / "calls").read_text()

    def test_complete_host_is_left_alone(self):
        said, calls = self.run_setup(0)
        self.assertIn("packages are there", said)
        self.assertEqual(calls, "")

    def test_missing_package_is_installed_and_only_that(self):
        self.write("absent", "libelf-dev\n")
        said, calls = self.run_setup(0)
        self.assertIn("Missing: libelf-dev", said)
        self.assertRegex(calls, r"(?s)update\n.*-s install .*libelf-dev\n.* install .*libelf-dev\n$")

    def test_command_from_elsewhere_stands_in_for_its_package(self):
        self.write("absent", "npm\n")
        self.tool("npm", "#!/bin/bash\n")
        self.assertEqual(self.run_setup(0)[1], "")

    def test_package_of_a_command_is_installed_where_the_command_is_missing(self):
        self.write("absent", "npm\n")
        self.assertIn("Missing: npm\n", self.run_setup(0)[0])

    def test_removed_package_with_settings_left_counts_as_missing(self):
        self.write("removed", "libelf-dev\n")
        self.assertIn("Missing: libelf-dev", self.run_setup(0)[0])

    def test_plan_that_removes_a_package_stops_without_a_terminal(self):
        self.write("absent", "libboost1.81-dev\n")
        self.write("plan", "Remv libboost1.74-dev [1.74.0]\nInst libboost1.81-dev (1.81.0)\n")
        said, calls = self.run_setup(4)
        self.assertIn("libboost1.74-dev", said)
        self.assertIn("apt-get install --no-install-recommends libboost1.81-dev", said)
        self.assertNotIn("-qq install", calls)

    def test_no_network_goes_on_with_the_lists_on_disk(self):
        self.write("absent", "libelf-dev\n")
        self.write("no-network")
        said, calls = self.run_setup(0)
        self.assertIn("network", said)
        self.assertIn("-qq install", calls)

    def test_package_that_apt_does_not_know_stops_with_the_remedy(self):
        self.write("absent", "libelf-dev\n")
        self.write("plan-fails")
        self.write("plan", "E: Unable to locate package libelf-dev\n")
        said, calls = self.run_setup(4)
        self.assertIn("Unable to locate package libelf-dev", said)
        self.assertIn("By hand:", said)
        self.assertNotIn("-qq install", calls)

    def test_failed_installation_stops(self):
        self.write("absent", "libelf-dev\n")
        self.write("install-fails")
        self.assertIn("apt-get install failed", self.run_setup(4)[0])

    def test_user_without_sudo_is_told_what_to_ask_for(self):
        self.write("absent", "libelf-dev\n")
        self.tool("id", "#!/bin/bash\necho 1000\n")
        said, calls = self.run_setup(4)
        self.assertIn("As root: apt-get install --no-install-recommends libelf-dev", said)
        self.assertEqual(calls, "")

    def test_user_with_sudo_goes_through_it(self):
        self.write("absent", "libelf-dev\n")
        self.tool("id", "#!/bin/bash\necho 1000\n")
        self.tool("sudo", '#!/bin/bash\necho sudo >>"$HOST/calls"\n[[ "$1" == -n ]] && shift\nexec "$@"\n')
        self.assertIn("sudo\n", self.run_setup(0)[1])

    def test_other_system_with_packages_missing_is_not_touched(self):
        self.write("absent", "libelf-dev\n")
        self.write("os-release", 'PRETTY_NAME="Other 9"\nID=other\nVERSION_ID="9"\n')
        said, calls = self.run_setup(4)
        self.assertIn("Other 9", said)
        self.assertIn("libelf-dev", said)
        self.assertEqual(calls, "")

    def test_system_without_dpkg_is_told_what_is_needed(self):
        (self.host / "bin" / "dpkg-query").unlink()
        self.assertIn("Debian 12", self.run_setup(4)[0])


if __name__ == "__main__":
    unittest.main()
