// Benches as text, and what a loader says about them.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/input_error.hpp"

namespace stillrotor::test {

/// A folder of this test case's own, gone with it.
class Folder {
 public:
  Folder() {
    const auto* info = testing::UnitTest::GetInstance()->current_test_info();
    path_ = std::filesystem::temp_directory_path() /
            (std::string("stillrotor-") + info->test_suite_name() + "-" + info->name());
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_);
  }
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;

  std::filesystem::path write(const std::string& name, const std::string& text) const {
    const auto file = path_ / name;
    std::filesystem::create_directories(file.parent_path());
    std::ofstream(file, std::ios::binary) << text;
    return file;
  }
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

/// The smallest bench that loads; every wrong one below differs from it by what its test names.
inline const char* const small_bench = R"(bench: Small
machine:
  pole_pairs: 4
  winding_resistance: 50 mohm
  inductance_d: 150 uH
  flux_linkage: 12 mWb
supply: {voltage: 48 V}
load: {inertia: 1e-3 kg m^2}
sensors:
  hall: {hysteresis: 1 deg}
controller:
  backend: standin
  kind: six_step
)";

/// A bench for firmware; firmware.elf must lie beside it.
inline const char* const mcu_bench = R"(bench: Firmware
machine: {pole_pairs: 4, winding_resistance: 50 mohm, inductance_d: 150 uH, flux_linkage: 12 mWb}
supply: {voltage: 48 V}
load: {inertia: 1e-3 kg m^2}
sensors: {hall: {}}
controller: {backend: mcu, firmware: firmware.elf}
harness:
  gates: {UH: PD6, UL: PD2, VH: PD5, VL: PD4, WH: PB3, WL: PB0}
  hall: {U: PC0, V: PC1, W: PC2}
  channels: {throttle: ADC3, bus_voltage: {pin: ADC5, divider: 1/20}}
)";
inline const char* const elf_start =
    "\x7f"
    "ELF and more";

inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  if (at == std::string::npos) throw std::logic_error("no \"" + from + "\" in the text");
  return text.replace(at, from.size(), to);
}

/// All messages of whatever is thrown; "" when nothing is.
template <class Act>
std::string problems(Act act) {
  try {
    act();
    return "";
  } catch (const InputError& error) {
    return error.what();
  }
}

}  // namespace stillrotor::test
