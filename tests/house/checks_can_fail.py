#!/usr/bin/env python3
"""The checks of the house find what they are there to find: each on a copy with one planted fault."""
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent


def check(script, root):
    ran = subprocess.run([sys.executable, str(HERE / script), str(root)], capture_output=True, text=True)
    return ran.returncode, ran.stdout + ran.stderr


class Planted(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.root = pathlib.Path(folder.name)

    def plant(self, path, text):
        file = self.root / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text((file.read_text() if file.exists() else "") + text)

    def expect(self, script, status, *words):
        code, said = check(script, self.root)
        self.assertEqual(code, status, said)
        for word in words:
            self.assertIn(word, said)


class Layering(Planted):
    def setUp(self):
        super().setUp()
        for part in ("plant", "io", "emulator"):
            shutil.copytree(ROOT / part, self.root / part)
        self.expect("check_layering.py", 0, " 0 forbidden includes")

    def expect_forbidden(self, path, include, *words):
        self.plant(path, f"\n#include {include}\n")
        self.expect("check_layering.py", 1, path, *words)

    def test_plant_may_not_know_the_connector(self):
        self.expect_forbidden("plant/drive.hpp", '"io/connector.hpp"', "physics only")

    def test_plant_may_not_know_the_program(self):
        self.expect_forbidden("plant/shaft/new.cpp", '"emulator/bench/bench.hpp"', "physics only")

    def test_plant_may_not_look_at_a_clock(self):
        self.expect_forbidden("plant/drive.hpp", "<chrono>", "no clock")

    def test_connector_may_not_know_the_plant(self):
        self.expect_forbidden("io/connector.hpp", '"plant/frames.hpp"', "does not know the plant")

    def test_stand_in_may_not_borrow_the_plants_transforms(self):
        self.expect_forbidden("io/standin/new.cpp", '"plant/frames.hpp"', "does not know the plant")

    def test_backend_may_not_include_another_backend(self):
        self.expect_forbidden("io/capture/new.cpp", '"io/mcu/config.hpp"', "backend mcu")

    def test_backend_may_not_reach_another_through_a_third_header(self):
        self.plant("io/shared.hpp", '#include "io/mcu/config.hpp"\n')
        self.expect_forbidden("io/capture/new.cpp", '"io/shared.hpp"', "io/shared.hpp -> io/mcu/config.hpp")

    def test_backend_may_use_a_component_but_not_the_other_way_round(self):
        self.plant("io/capture/new.cpp", '#include "io/analog/analog.hpp"\n')
        self.expect("check_layering.py", 0, " 0 forbidden includes")
        self.expect_forbidden("io/analog/new.cpp", '"io/mcu/config.hpp"', "backend mcu")

    def test_record_may_not_know_who_runs(self):
        self.expect_forbidden("emulator/record/new.cpp", '"emulator/virtual_time/virtual_run.hpp"')

    def test_judge_may_not_reach_the_running_side_through_a_header(self):
        self.plant("emulator/handover/new.hpp", '#include "emulator/virtual_time/virtual_run.hpp"\n')
        self.expect_forbidden("emulator/judge/new.cpp", '"emulator/handover/new.hpp"',
                              "emulator/handover/new.hpp -> emulator/virtual_time/virtual_run.hpp")

    def test_relative_include_is_refused(self):
        self.expect_forbidden("emulator/judge/new.cpp", '"../record/recorder.hpp"', "relative")

    def test_include_through_a_macro_is_refused(self):
        self.expect_forbidden("plant/new.cpp", "WHERE_TO", "macro")


class Documents(Planted):
    def setUp(self):
        super().setUp()
        self.plant("README.md", "# Title\n\nSee [below](#two-words) and `docs/a.md`.\n\n## Two words\n")
        self.plant("docs/a.md", "# A\n\n[home](../README.md#two-words)\n")
        self.expect("check_docs.py", 0, " 0 problems")

    def test_link_to_a_missing_file(self):
        self.plant("docs/a.md", "[gone](gone.md)\n")
        self.expect("check_docs.py", 1, "docs/a.md:4: link to gone.md")

    def test_link_to_a_missing_heading(self):
        self.plant("docs/a.md", "[gone](../README.md#three-words)\n")
        self.expect("check_docs.py", 1, "no such heading")

    def test_missing_file_named_in_a_recipe(self):
        self.plant("docs/recipes/r.md", "Copy `io/gone/gone.cpp`.\n")
        self.expect("check_docs.py", 1, "names io/gone/gone.cpp")

    def test_label_that_no_test_bears(self):
        self.plant("tests/CMakeLists.txt", "stillrotor_test(a . LABELS judge run LINK x)\n")
        self.plant("docs/a.md", "`ctest -L \"judge|run\"`\n")
        self.expect("check_docs.py", 0)
        self.plant("docs/a.md", "`ctest -L \"judge|jury\"`\n")
        self.expect("check_docs.py", 1, "names the label jury")

    def test_path_of_a_machine_in_any_file(self):
        self.plant("io/x.cpp", "// see /" + "root/x\n")
        self.expect("check_docs.py", 1, "io/x.cpp:1")

    def test_empty_tree_is_not_a_pass(self):
        shutil.rmtree(self.root / "docs")
        (self.root / "README.md").unlink()
        self.expect("check_docs.py", 2)


class Format(Planted):
    def test_badly_set_file(self):
        self.plant("a.cpp", "int  f( ) ;\n")
        code, said = check("check_format.py", self.root)
        if code == 77:
            self.skipTest(said)
        self.assertEqual(code, 1, said)
        self.assertIn("a.cpp: not formatted", said)


if __name__ == "__main__":
    unittest.main()
