// A live controller's answers to Hall codes that stand still: with the motor and the power stage
// absent, the bench holds one code after another and looks which gates are commanded.
//
// Order   unpowered; key on with the throttle shut; throttle open, the six codes of a machine that
//         turns forward, each for a while; the two codes that no position gives; shut; off.
// Time    the lines' clock (held_lines.hpp): a wall clock, or a virtual one.
// Errors  as HeldLines.
#pragma once

#include <array>
#include <cstdint>
#include <functional>

#include "emulator/arrangement/arrangement.hpp"
#include "emulator/bench/bench.hpp"
#include "emulator/calibration/held_lines.hpp"

namespace stillrotor {

/// What the gates did over one look.
struct GatesSeen {
  std::array<double, 6> on{};  // share of the time
  std::array<std::uint32_t, 6> edges{};
  std::array<double, 3> both{};  // share of the time in which both switches of a leg were on
};

struct HallAnswers {
  GatesSeen unpowered, idle;
  std::array<GatesSeen, 8> codes{};  // throttle open, by Hall code U + 2 V + 4 W
  bool drove = false;                // the gates came on when the throttle opened
};

struct HoldSettings {
  std::int64_t power_up_ns = 1'000'000'000;  // from the key to a controller that is ready
  std::int64_t settle_ns = 150'000'000;      // of each code, before the look
  std::int64_t look_ns = 100'000'000;
  std::int64_t open_most_ns = 30'000'000'000;  // waiting for the gates after the throttle opened
  double throttle_share = 0.4;                 // of the way from idle to full
};

class HeldHalls {
 public:
  /// at_rest: volts of all channels while nothing turns and no current flows. opened: called when
  /// the throttle is to be opened, for a person who turns it (the channel, where wired, is opened
  /// by the bench).
  HeldHalls(HeldLines&, const Bench&, const std::array<double, io::channel_count>& at_rest,
            const HoldSettings&, std::function<void()> opened);

  HallAnswers all();

 private:
  void line(io::LineId, bool on);
  void throttle(double share);
  void hold_code(int code);
  GatesSeen look();
  void follow(GatesSeen* to, std::int64_t until_ns);

  HeldLines& lines_;
  const Bench& bench_;
  const std::array<double, io::channel_count> at_rest_;
  const HoldSettings settings_;
  std::function<void()> opened_;
  std::array<bool, 6> on_{};
  std::int64_t seen_ps_ = 0;  // up to here the gates are known
};

}  // namespace stillrotor
