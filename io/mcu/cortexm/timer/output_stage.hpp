// One channel's way to its two pads: polarity, dead time, the states of rest.
//
// With both outputs enabled, each is switched on a dead time after the other has been switched off;
// a pulse shorter than that does not come out. With one enabled there is no dead time, and the
// second output is not inverted. Without MOE both are released, or (OSSI) switched off at once and
// a dead time later put to their idle levels, unless these would switch both on.
//
// Source RM0090, output control bits for complementary OCx and OCxN channels with break feature;
//        complementary outputs and dead-time insertion.  Not: the few clocks between OCREF and pad.
// RT     safe.
#pragma once

#include <algorithm>
#include <array>

#include "io/connector.hpp"
#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

/// What a channel's output and its complement do.
using Pads = std::array<Level, 2>;
inline constexpr Pads nothing_driven{Level::released, Level::released};

struct OutputSettings {
  bool enabled = false, enabled_n = false;           // CCxE, CCxNE
  bool inverted = false, inverted_n = false;         // CCxP, CCxNP
  bool idle = false, idle_n = false;                 // OISx, OISxN
  bool main = true;                                  // MOE; true for timers without it
  bool off_when_run = false, off_when_idle = false;  // OSSR, OSSI
  Cycle dead_time = 0;
};

class OutputStage {
 public:
  /// At any change of settings, then follow(); in the order of time.
  void configure(const OutputSettings& s, Cycle at) noexcept {
    if (s.main != main_) on_from_ = {never, s.main ? never : at + s.dead_time};
    main_ = s.main;
    both_ = s.enabled && s.enabled_n;
    enabled_ = s.enabled;
    inverted_ = s.inverted;
    delay_ = both_ ? s.dead_time : 0;
    for (unsigned on = 0; on < pads_.size(); ++on)
      pads_[on] = s.main ? running(s, on & 1, on & 2) : stopped(s, on & 2);
  }
  /// At any change of settings or of OCREF, in the order of time.
  void follow(bool reference, Cycle at) noexcept {
    if (!main_) return;
    want(on_from_[0], reference, at);
    want(on_from_[1], reference != both_, at);
  }
  /// When it will next change by itself.
  Cycle next(Cycle at) const noexcept {
    const auto ahead = [at](Cycle moment) { return moment > at ? moment : never; };
    return std::min(ahead(on_from_[0]), ahead(on_from_[1]));
  }
  /// Not before the last follow().
  Pads pads(Cycle at) const noexcept {
    return pads_[unsigned{on_from_[0] <= at} | unsigned{on_from_[1] <= at} << 1];
  }
  /// OCx behind its enable and polarity.
  bool signal(bool reference) const noexcept { return enabled_ && reference != inverted_; }

 private:
  void want(Cycle& on_from, bool wanted, Cycle at) noexcept {
    if (!wanted)
      on_from = never;
    else if (on_from == never)
      on_from = at + delay_;
  }
  static Level level(bool high) noexcept { return high ? Level::high : Level::low; }
  static Pads running(const OutputSettings& s, bool on, bool on_n) noexcept {
    const auto pad = [&](bool enabled, bool other_enabled, bool is_on, bool inverted) {
      if (enabled) return level(is_on != inverted);
      return other_enabled && s.off_when_run ? level(inverted) : Level::released;
    };
    return {pad(s.enabled, s.enabled_n, on, s.inverted),
            pad(s.enabled_n, s.enabled, on_n, s.inverted_n)};
  }
  static Pads stopped(const OutputSettings& s, bool rests) noexcept {
    if (!(s.enabled || s.enabled_n) || !s.off_when_idle) return nothing_driven;
    const bool idle = rests && !(s.idle != s.inverted && s.idle_n != s.inverted_n);
    return {level(idle ? s.idle : s.inverted), level(idle ? s.idle_n : s.inverted_n)};
  }

  bool main_ = true, both_ = false, enabled_ = false, inverted_ = false;
  std::array<Pads, 4> pads_{};  // by what is on, a bit each
  Cycle delay_ = 0;             // from wanted to on
  /// Output and complement. Without MOE neither is on; from the second on they rest.
  std::array<Cycle, 2> on_from_{never, never};
};

}  // namespace stillrotor::io::cortexm
