// A recorded controller, replayed open loop: its gates do again what they did in the recording,
// whatever the plant answers now. What that replay is worth: see CaptureTrust.
//
// Time   0 is the recording's first time stamp plus CaptureConfig::start_s; replay counts it from
//        arm(), whether or not the controller has power. Without power all gates are released.
// Levels as recorded at the connector: z is Level::released; x keeps the last level and is
//        counted. Before its first known value a line is released.
// Errors ConfigError with "file:line: what; allowed. Remedy." The whole file is read and checked at
//        set-up, so that nothing can fail later; memory does not grow with its length, but for at
//        most one point of the speed profile per millisecond.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>

#include "io/capture/config.hpp"
#include "io/capture/motion.hpp"
#include "io/connector.hpp"

namespace stillrotor::io {

/// What one pass over the recording has seen, from start_s on.
struct CaptureSurvey {
  std::filesystem::path file;
  double resolution_s = 0.0;  // one tick of the recording's time scale
  double length_s = 0.0;      // to its last time stamp
  std::array<std::uint64_t, line_count> edges{};
  std::uint64_t unknown_values = 0;  // x, of the lines in use
  double pwm_frequency_Hz = 0.0;     // from the gates' rising edges; 0: too few
};

class CaptureReplay final : public SimulatedController {
 public:
  /// Throws ConfigError.
  explicit CaptureReplay(const CaptureConfig&);
  ~CaptureReplay() override;

  void power(double volts, Time, World&) override;
  Time run(Time horizon) noexcept override;
  void deliver(const Edge&) noexcept override {}
  /// exited after the last time stamp, gates released.
  Health health() const noexcept override;
  std::string_view diagnosis() const noexcept override;

  const CaptureSurvey& survey() const noexcept;
  /// How the recorded machine turned; reads the file once more. Throws ConfigError.
  RecordedMotion motion(const CapturedMachine&) const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// The row of the table of backends. Throws ConfigError.
std::unique_ptr<SimulatedController> make_capture(const CaptureConfig&);

}  // namespace stillrotor::io
