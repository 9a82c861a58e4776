// What was measured by loop-back at a bench's lines, on one computer: a small YAML file that the
// bench names (controller.calibration), in the place of what the backend declares.
//
// Holds  for the backend, the wires and the kernel that it names; another backend or other wires
//        are refused. No word of whose computer it is.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "emulator/bench/problems.hpp"
#include "io/backends.hpp"

namespace stillrotor {

/// Whether lost edges show: what happened when the line was driven beyond its limit.
enum class LossNotice : std::uint8_t { not_provoked, all_shown, not_all_shown };

struct LineCalibration {
  struct Skew {
    io::LineId input, output;
    double rise_s = 0.0, fall_s = 0.0;  // later than the mean of all lines and directions
    double jitter_s = 0.0;              // rms
    bool operator==(const Skew&) const = default;
  };

  std::string bench, date, kernel;  // as people read them; date: ISO 8601
  bool real_time = false;           // the cycle's rights were granted while it was measured
  std::string backend, route;
  double edges_in_per_s = 0.0;
  bool more_not_sent = false;   // no faster edges could be sent
  double stamp_jitter_s = 0.0;  // rms
  double write_s = 0.0;
  LossNotice loss = LossNotice::not_provoked;
  std::vector<Skew> skew;
  std::map<std::string, std::string> wires;  // line's name: the bench's end, all that are wired

  bool operator==(const LineCalibration&) const = default;
};

/// Largest skew that is believed, either way: that of cycle.gates.skew.
inline constexpr double skew_most_s = 10e-6;

/// The bench's end of a wire: "gpiochip0 line 5", "HALL_U", "bit 5"; empty: not wired, or
/// simulated.
std::string bench_end(const io::ControllerConfig&, io::LineId);
/// Of all wires that there are, by the lines' names.
std::map<std::string, std::string> bench_ends(const io::ControllerConfig&);

std::string calibration_yaml(const LineCalibration&);
/// Throws InputError: unknown or missing keys, values that no line has, each with its remedy.
LineCalibration read_calibration(const std::filesystem::path& file, const std::string& shown,
                                 const Place& asked_at = {});
/// Why it does not hold for this backend and these wires; empty: it does.
std::string mismatch(const LineCalibration&, std::string_view backend, const io::ControllerConfig&);

}  // namespace stillrotor
